"""The record in the terminal."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from rich.cells import cell_len
from rich.console import Console

from benchrig.record.aggregate import build_record
from benchrig.record.events import Closed, Noted, Opened, PlannedNode, Reading, RunEnded, Samples, Where
from benchrig.record.model import Record
from benchrig.report import explain
from benchrig.report.table import render, render_verdict
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import Bits
from tests.record.examples import FAILED_RUN, failed_run, opened, reading, run_of, run_started
from tests.record.strategies import device_text, few, records
from tests.run.kit import plan_text, run
from tests.run.test_trouble import thermometer


def shown(record: Record, width: int = 120, **options: Any) -> str:
    """The table as a pipe gets it."""
    file = io.StringIO()
    render(record, Console(file=file, width=width, color_system=None, force_terminal=False), **options)
    return file.getvalue()


def row(text: str, *words: str) -> str:
    """The one line that has all the words, with single spaces."""
    [line] = [" ".join(line.split()) for line in text.splitlines() if all(word in line for word in words)]
    return line


@few
@given(records(), st.integers(40, 200), st.booleans())
def test_any_record_at_any_width(record: Record, width: int, unjudged: bool) -> None:
    text = shown(record, width, unjudged=unjudged)
    assert all(line.isprintable() for line in text.split("\n"))
    assert max(cell_len(line) for line in text.split("\n")) <= width


@few
@given(records())
def test_any_record_on_an_output_that_knows_only_ascii(record: Record) -> None:
    file = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    render(record, Console(file=file, width=80))
    file.flush()


@given(device_text())
def test_no_text_of_the_device_is_markup_or_an_escape_sequence(text: str) -> None:
    file = io.StringIO()
    colour = Console(file=file, width=100, force_terminal=True, color_system="standard")
    render(run_of(reading(text, Limit(equals="x"), name=text), verdict="fail", message=text), colour)
    assert not re.sub(r"\x1b\[[0-9;]*m", "", file.getvalue()).replace("\n", "").count("\x1b")


def test_markup_in_a_name_is_text() -> None:
    assert "[bold]x[/bold] :smile:" in shown(run_of(reading(1, name="[bold]x[/bold] :smile:")))


def test_text_without_end_is_bounded() -> None:
    text = "y" * 100_000
    assert shown(run_of(reading(text, Limit(equals="x"), name=text, raw="79" * 4096), verdict="fail")).count("y") < 1500


def test_a_reading_with_limits_has_all_its_cells() -> None:
    assert row(shown(failed_run()), "read temperature", "value") == "3 read temperature value 15 31.27 30 °C fail"


def test_bytes_stand_in_pairs_like_their_limit() -> None:
    record = run_of(reading("FFFF0301", Limit(equals="FF FF 03 02"), raw="FFFF0301"), verdict="fail")
    assert row(shown(record), "equals", "value") == "1 read temperature value equals 'FF FF 03 02' FF FF 03 01 fail"
    assert "measured FF FF 03 01; limit equals 'FF FF 03 02'" in shown(record)


def test_the_digits_of_a_text_are_no_bytes() -> None:
    assert row(shown(run_of(reading("3031", raw="33303331"))), "value") == "value 3031"


def test_no_line_in_a_pipe_ends_in_a_blank() -> None:
    words = "a word and " * 30
    record = run_of(reading("x", Limit(equals="y")), verdict="fail", message=words, caution=words, plan=words)
    assert not [line for line in shown(record, 60).splitlines() if line != line.rstrip()]


def test_a_stream_shows_its_extremes_and_how_many() -> None:
    assert row(shown(failed_run()), "n=9") == "4 notify temperature value (n=9) -40 31.25 to 31.34 85 °C pass"


def test_a_stream_that_is_no_number_shows_its_last_sample() -> None:
    text = shown(run_of(reading("open", Limit(equals="open"), samples=Samples(4))))
    assert row(text, "n=4") == "1 read temperature value (n=4) equals 'open' open pass"


@pytest.mark.parametrize(
    ("value", "limit", "cells"),
    [
        ("A7", Limit(matches="[A-Z]7"), "matches '[A-Z]7' A7 pass"),
        (3, Limit(equals=3), "3 3 3 pass"),
        (6, Limit(bits=Bits(2, 2)), "bits 0x02 under mask 0x02 6 pass"),
        (True, Limit(equals=True), "equals true true pass"),
        (["a", "b"], Limit(contains="a"), "contains 'a' a, b pass"),
        (5, Limit(min=4), "4 5 pass"),
    ],
)
def test_limits_of_every_sort(value: Any, limit: Limit, cells: str) -> None:
    assert row(shown(run_of(reading(value, limit))), "1 read temperature") == f"1 read temperature value {cells}"


def test_a_step_without_readings_has_one_row() -> None:
    assert row(shown(failed_run()), "6 read battery level") == "6 read battery level skip"


def test_a_step_that_its_readings_do_not_explain_has_a_row_with_the_cause() -> None:
    assert row(shown(failed_run()), "5 write alarm limit", "fail: ") == "5 write alarm limit fail: link"


def test_readings_without_a_limit_can_be_left_out() -> None:
    assert "count" in shown(failed_run())
    assert "count" not in shown(failed_run(), unjudged=False)


def test_a_failure_is_explained() -> None:
    text = shown(failed_run())
    _, _, after = text.partition("step 3 read temperature: fail (limit)\n")
    assert after.splitlines()[:2] == [
        "  value: 31.27 °C is above the maximum 30 °C by 1.27 °C",
        "    measured 31.27 °C; limit min 15 °C and max 30 °C; margin -1.27 °C; raw 37 0C; fridge.yaml:23",
    ]


def test_a_failure_without_a_limit_says_where_and_what_to_do() -> None:
    _, _, after = shown(failed_run()).partition("step 5 write alarm limit: fail (link)\n")
    assert [line.strip() for line in after.splitlines()[:3]] == [
        "the link was lost (supervision timeout)",
        "fridge.yaml:31",
        "advice: move the unit closer",
    ]


def test_a_sentence_stands_once() -> None:
    assert shown(failed_run(), 200).count("above the maximum 30 °C") == 1


def test_an_error_beside_a_broken_limit_is_told_too() -> None:
    broken = reading(5, Limit(max=4))
    assert broken.judgement is not None
    message = f"the link was lost; {broken.judgement.sentence}"
    ended = Closed(Where("1"), 1.0, 1.0, "fail", "link", message, own="the link was lost")
    text = shown(build_record([run_started(), opened(), broken, ended]))
    assert "\n  the link was lost\n" in text
    assert text.count("above the maximum 4") == 1


def test_skipped_steps_are_told_in_one_line() -> None:
    assert "steps 6-7 skipped: step 5 left no link\n" in shown(failed_run())


def test_a_pass_on_the_second_attempt_says_so() -> None:
    assert "step 2 connect passed on attempt 2 (attempt 1, link: no answer" in shown(failed_run())


def test_the_verdict_is_the_last_line() -> None:
    assert shown(failed_run()).splitlines()[-1] == (
        "FAIL: the unit failed (exit code 1): 2 of 7 steps passed, 3 failed, 2 skipped; 4 limits judged, 2 broken; 13.810 s"
    )


def test_a_run_that_judged_nothing_is_no_pass() -> None:
    ended = RunEnded(1.0, "pass", 5, 0, message="no limit was judged, so nothing was proved")
    last = shown(
        build_record([run_started(), opened(), Closed(Where("1"), 1.0, 1.0, "pass"), ended]), 200
    ).splitlines()[-1]
    assert last.startswith("NOTHING JUDGED: nothing was judged, so nothing was proved (exit code 5)")


def test_the_head_says_what_was_tested_with_what() -> None:
    head = shown(failed_run()).splitlines()[:5]
    assert head[0].split(maxsplit=1) == ["plan", "Fridge logger, end of line, revision 3 (plans/fridge.yaml)"]
    assert head[1].split(maxsplit=1)[1] == "VFL3-000123, VFL-000123, C0:FF:EE:00:00:01 (random static)"
    assert [line.split(maxsplit=1)[1] for line in head[2:]] == ["bench 2", "host", "2026-03-02T08:15:30.250Z"]


def test_what_was_simulated_is_marked_at_both_ends() -> None:
    text = shown(run_of(simulated=True, radio="virtual:fridge", seed=7))
    assert "SIMULATED this ran on a virtual radio: no real unit was tested\n" in text
    assert text.splitlines()[-1].startswith("PASS, SIMULATED: all limits held")
    assert "SIMULATED" not in shown(run_of())


def test_a_run_that_was_cut_off_is_marked() -> None:
    text = shown(failed_run(until=7))
    assert "CUT OFF the run died before its verdict\n" in text
    assert row(text, "2 connect", "cut off", ":") == "step 2 connect: cut off"
    assert text.splitlines()[-1].startswith("CUT OFF: ")


def test_a_limit_that_was_broken_before_the_cut_is_explained() -> None:
    _, _, after = shown(failed_run(until=13)).partition("step 3 read temperature: cut off\n")
    assert [line.strip() for line in after.splitlines()[:2]] == [
        "the run died in this step, which had begun at 1.750 s",
        "value: 31.27 °C is above the maximum 30 °C by 1.27 °C",
    ]


def test_a_run_that_ended_before_its_first_step_says_why() -> None:
    skipped = Closed(Where("1"), 0.1, 0.0, "skip", message="the run ended before its first step")
    ended = RunEnded(0.1, "error", 7, 0, "station", None, "there is no adapter")
    text = shown(build_record([run_started(), skipped, ended]))
    assert "the run: error (station): there is no adapter\n" in text


def test_a_traceback_of_a_bug_is_kept() -> None:
    ended = Closed(Where("1"), 1.0, 1.0, "error", "internal", "KeyError: 'x'", traceback="Traceback:\n  line 1\n")
    assert "  Traceback:\n    line 1\n" in shown(build_record([run_started(), opened(), ended]))


def test_a_note_has_two_lines_at_most() -> None:
    text = shown(build_record([run_started(), Noted(0.1, "sent " + "41 " * 242)]), 80)
    assert text.count("41 ") < 40
    assert "…" in text


def test_a_margin_between_levels_is_in_decibels() -> None:
    low = Limit(min="-70 dBm")
    assert "margin -9 dB;" in shown(run_of(reading(-79, low, unit="dBm", raw="B1"), verdict="fail"))


def test_one_limit_is_singular() -> None:
    assert "; 1 limit judged, 0 broken;" in shown(run_of(reading(1, Limit(equals=1))), 200)


def test_notes_are_bounded() -> None:
    text = shown(build_record([run_started(), *(Noted(0.1, f"fact {n}") for n in range(30))]))
    assert "note: fact 19\n" in text
    assert "note: 10 more are in the record\n" in text


@pytest.mark.parametrize("width", [20, 48, 60, 80, 100, 200])
def test_no_number_is_broken_over_lines(width: int) -> None:
    text = shown(failed_run(), width)
    assert all(number in text for number in ("1.234567", "31.27", "2.004", "-58", "-70"))


def test_a_narrow_terminal_has_steps_above_their_readings() -> None:
    lines = [line.rstrip() for line in shown(failed_run(), 60).splitlines()]
    at = lines.index("3 read temperature")
    assert lines[at + 1].split() == ["value", "15", "31.27", "30", "°C", "fail"]


def test_colour_can_be_switched_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    file = io.StringIO()
    render(failed_run(), Console(file=file, width=100, force_terminal=True))
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]", file.getvalue())


SETTINGS = (
    PlannedNode("1", "read the settings of the display module", "read", "a.yaml:3"),
    PlannedNode("2", "read model number", "read", "a.yaml:9"),
)


def settings(step: int, name: str, value: object, limit: Limit) -> Reading:
    return replace(reading(value, limit), where=Where(str(step)), name=name)


def long_names() -> Record:
    events = [
        run_started(*SETTINGS),
        opened(1),
        settings(1, "value.motor_temperature", 60, Limit(min=60, max=60)),
        settings(1, "value.language_of_display", "de", Limit(equals="de")),
        Closed(Where("1"), 1.0, 1.0, "pass"),
        opened(2),
        settings(2, "characteristics", "Kestrel", Limit(equals="Kestrel Velo Works GmbH")),
        Closed(Where("2"), 1.0, 1.0, "fail", "limit"),
    ]
    return build_record(events)


@pytest.mark.parametrize("width", [60, 72, 80, 100, 120])
def test_names_of_readings_are_whole_whatever_the_limits_are(width: int) -> None:
    lines = [line.split() for line in shown(long_names(), width).splitlines()]
    for name in ("value.motor_temperature", "value.language_of_display", "characteristics"):
        assert any(name in words for words in lines), name


@pytest.mark.parametrize("width", [80, 120])
def test_no_word_of_a_step_is_broken(width: int) -> None:
    words = shown(long_names(), width).partition("\n\n\n")[0].split()
    assert {"settings", "display", "module", "number"} <= {*words}


@pytest.mark.parametrize("width", [44, 59, 60, 70, 80, 100, 120])
def test_a_long_limit_is_broken_and_no_name(width: int) -> None:
    """A name is what one looks for: a limit and a value have all their words in the text of the failure."""
    uuid = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"
    step = PlannedNode("1", f"read {uuid}", "read", "a.yaml:3")
    long = "x" * 70
    given = [reading(long, Limit(equals=f"{long}y"), name=f"value.{part}") for part in ("motor_power_average", "b")]
    ended = Closed(Where("1"), 1.0, 1.0, "fail", "limit", own="")
    words = shown(build_record([run_started(step), opened(), *given, ended]), width).split()
    assert sum(uuid in word for word in words) == 2, "in the table, and above what failed"
    assert sum("value.motor_power_average" in word for word in words) >= 2


def test_what_was_sent_is_told_after_what_failed() -> None:
    sent = Noted(11.9, "sends 20 03", Where("5"), sent="2003")
    lines = shown(build_record([*FAILED_RUN[:22], sent, *FAILED_RUN[22:]])).splitlines()
    assert lines.index("note, step 5: sends 20 03") > lines.index("steps 6-7 skipped: step 5 left no link")
    assert lines.index("note: adapter: hci0") < lines.index("step 3 read temperature: fail (limit)")
    assert lines[-1].startswith("FAIL: ")


def test_a_hand_terminal_has_a_list() -> None:
    lines = [line.rstrip() for line in shown(failed_run(), 40).splitlines()]
    at = lines.index("3 read temperature")
    assert lines[at + 1] == "    value 31.27 °C  (15 to 30)  fail"
    assert not any("low limit" in line for line in lines)


def test_one_cause_is_told_once() -> None:
    """Five steps fail as an attribute lost a property."""
    steps = [PlannedNode(str(number), f"write {number}", "write", f"a.yaml:{number}") for number in range(1, 6)]
    message = "assist does not offer write"
    events = [(opened(n), Closed(Where(str(n)), 1.0, 1.0, "fail", "device", message)) for n in range(1, 6)]
    text = shown(build_record([run_started(*steps), *(event for pair in events for event in pair)]))
    assert text.count("assist does not offer write") == 1
    assert "  the same in steps 2-5\n" in text


def test_advice_stands_under_its_reason() -> None:
    ended = RunEnded(0.1, "error", 2, 0, "operator", None, "nobody was there", advice="run at a terminal")
    record = build_record([run_started(), ended])
    assert "the run: error (operator): nobody was there\n  advice: run at a terminal\n" in shown(record)
    file = io.StringIO()
    render_verdict(record, Console(file=file, width=100))
    assert file.getvalue().endswith("nobody was there\nadvice: run at a terminal\n")


def test_what_did_not_pass_is_no_note_besides() -> None:
    ended = RunEnded(0.1, "error", 3, 0, "internal", None, "an error was raised: x")
    text = shown(build_record([run_started(), Noted(0.1, "an error was raised: x"), ended]))
    assert text.count("an error was raised: x") == 1


def test_a_unit_that_was_not_found_is_known_by_what_was_given() -> None:
    run = replace(run_started(), given={"serial": "VFL3-000042"})
    assert "unit     not known, given serial number VFL3-000042\n" in shown(build_record([run]))


def test_a_step_is_called_what_it_was_called_in_the_run() -> None:
    step = PlannedNode("1", "ask", "ask", "a.yaml:3")
    record = build_record([run_started(step), Opened(Where("1"), 0.0, "ask Is the housing red?")])
    assert "1 ask Is the housing red?" in shown(record)


def test_a_stream_that_told_its_state_says_its_sentence_once() -> None:
    """Its readings stand in the record as the message has them, however often the stream spoke before its end."""
    steps = "  - notify: temperature\n    for: 5 s\n    expect: {count: {min: 999}, value: {max: 0 °C}}\n"
    record = run(plan_text(steps), thermometer("notify: {period: 200 ms}")).record
    assert explain.own_message(record.steps[2]) == ""


@pytest.mark.parametrize(("limit", "said"), [(Limit(min=4), "5  (from 4)  pass"), (Limit(max=6), "5  (up to 6)  pass")])
def test_a_hand_terminal_says_which_side_a_limit_is(limit: Limit, said: str) -> None:
    assert said in shown(run_of(reading(5, limit)), 50)


def test_a_long_limit_has_all_its_words_in_the_table() -> None:
    words = "remote user terminated connection"
    text = shown(run_of(reading(words, Limit(equals=words), name="a_reading_of_many_letters")), 80)
    assert "…" not in text
    assert [text.count(word) for word in words.split()] == [2, 2, 2, 2]
