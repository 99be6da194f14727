"""The commands of a line around its engine: events in words, the log, labels from a pipe, a shift without a terminal."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, get_args

import pytest
from click.shell_completion import ShellComplete

from benchrig.cli import main
from benchrig.cli.line_piped import _lines
from benchrig.cli.line_text import Narrator, Teller, asked_words, summary
from benchrig.line import events
from benchrig.line.journal import LineJournal
from benchrig.line.view import Asked, Counts, LineView
from benchrig.line_screen.typing import MOST
from tests.cli.kit import here

NOW = datetime(2026, 11, 27, 14, 3, tzinfo=UTC)
STATION = "station: line 3\nresults: results\n"


def event(kind: str, seconds: int = 0, /, **fields: Any) -> events.AnyLineEvent:
    made: events.AnyLineEvent = getattr(events, kind)(at=NOW + timedelta(seconds=seconds), **fields)
    return made


BEGAN = event("UnitBegan", key="k", unit="VFL3-1", slot="2", product="logger", barcode="VFL3-1 A", serial="VFL3-1")
PASSED = event("UnitEnded", 9, key="k", word="PASS", verdict="pass", folder="results/one")
CASES = [
    (event("ShiftBegan", shift="7", person="A", station="line 3", station_hash="", simulated=True), "REHEARSAL"),
    (event("PersonCame", person="A"), "A has the shift"),
    (event("ShiftEnded", why="END"), "the shift ends: END"),
    (event("CautionRead", person="A", plan_hash="", text="hot"), "A acknowledged the caution: hot"),
    (event("Scanned", text="X", kind="unit"), "read X (unit)"),
    (
        event("Answered", question="green?", answer="yes", person="A", slot="2", unit="U"),
        "slot 2: U: A answered 'green?': yes",
    ),
    (event("Refused", text="X\x1b", why="fits none"), "refused X\\x1b: fits none"),
    (BEGAN, "slot 2: VFL3-1 is next (logger)"),
    (event("RunBegan", key="k", folder="f", proof="serial number"), "VFL3-1 is being tested; proven: serial number"),
    (PASSED, "slot 2: VFL3-1 PASS  [results/one]"),
    (event("Released", key="k", slot="2"), "slot 2: VFL3-1 left the slot"),
    (event("Withheld", key="k", slot="2", why="not scanned"), "no verdict is given of slot 2: VFL3-1: not scanned"),
    (event("CutOff", key="k"), "VFL3-1 was cut off, and counts as not tested"),
    (event("CleanedUp", key="k", person="A", ok=False, message="gone"), "VFL3-1 was not cleaned up (A): gone"),
    (event("ReferenceChecked", name="golden", slot="2", ok=True), "slot 2: golden did what it must"),
    (event("LineStopped", why="3 in a row"), "the line stopped: 3 in a row"),
    (event("LineCleared", person="A"), "A cleared the line"),
    (event("FileChanged", old="a", new="b", taken=True, by="A"), "acknowledged by A"),
    (event("ToldStation", key="k", ok=False, message="exit 1"), "the command after a unit failed: exit 1"),
    (event("ClockBack", before=NOW), "the clock was set back"),
    (event("TornLine", line=4), "line 4 was cut off"),
]


def test_every_event_has_words() -> None:
    assert {type(each) for each, _ in CASES} == set(get_args(events.AnyLineEvent))


@pytest.mark.parametrize(("happened", "words"), CASES)
def test_an_event_in_words(happened: events.AnyLineEvent, words: str) -> None:
    narrator = Narrator()
    narrator.words(BEGAN)
    line = narrator.words(happened)
    assert words in line
    assert line.isprintable()


RELEASED = events.Released(at=NOW, key="k", slot="2")
WITHHELD = events.Withheld(at=NOW, key="k", slot="2", why="not scanned")


@pytest.mark.parametrize(
    ("held", "then", "passes"),
    [("", [], True), ("2", [], False), ("2", [RELEASED], True), ("2", [WITHHELD, RELEASED], False)],
)
def test_a_verdict_that_the_screen_does_not_show_is_not_told(held: str, then: list[Any], passes: bool) -> None:
    teller = Teller(Narrator(), lambda slot: slot == held)
    told = [line for event in (BEGAN, PASSED, *then) for line in teller.lines(event)]
    assert any("PASS" in line for line in told) is passes
    assert ("scan its label" in told[1]) is bool(held)


def test_the_log_is_words_or_data(tmp_path: Path) -> None:
    (tmp_path / "line.yaml").write_text(STATION)
    with LineJournal.opened(tmp_path / "results" / "line.jsonl", NOW, simulated=False) as (journal, _):
        journal.write(BEGAN, PASSED)
    told = here("line", "log", "line.yaml", "--last", "1", cwd=tmp_path)
    assert told.stdout.count("\n") == 1
    assert "slot 2: VFL3-1 PASS" in told.stdout
    data = json.loads(here("line", "log", "line.yaml", "--json", cwd=tmp_path).stdout)
    assert [(each["event"], each["key"]) for each in data["events"]] == [("unit", "k"), ("unit ended", "k")]


def test_a_log_without_events_says_where_it_would_be(tmp_path: Path) -> None:
    (tmp_path / "line.yaml").write_text(STATION)
    done = here("line", "log", "line.yaml", cwd=tmp_path)
    assert (done.returncode, "results/line.jsonl" in done.stdout) == (0, True)


@pytest.mark.parametrize("command", ["run", "check", "log"])
def test_a_station_file_with_a_mistake_is_exit_code_4(tmp_path: Path, command: str) -> None:
    (tmp_path / "line.yaml").write_text(f"{STATION}slotz: {{}}\n")
    done = here("line", command, "line.yaml", cwd=tmp_path)
    assert (done.returncode, "slotz" in done.stderr) == (4, True)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"A\nB\r\n\n  \nC", ["A", "B", "C"]),
        (b"A\x03\x1d\xff\n", ["A\x03\x1d\ufffd"]),
        (b"L" * 50_000 + b"\nA\n", ["L" * MOST, "A"]),
        (b"", []),
    ],
)
@pytest.mark.parametrize("chunk", [1, 7, 65536])
def test_lines_of_a_pipe(data: bytes, expected: list[str], chunk: int) -> None:
    source = io.BytesIO(data)
    assert [*_lines(iter(lambda: source.read(chunk), b""))] == expected


def test_a_question_and_a_shift_in_a_line() -> None:
    asked = Asked("green?", "2", ("yes", "no"))
    view = LineView("line 3", "question", rehearsal=True, asked=asked, counts=Counts(4, 3, 1, 1, 0))
    assert asked_words(view) == "slot 2 asks: green? (yes / no)"
    assert summary(view) == "REHEARSAL: 4 units judged, first pass 75.0 %, 1 failed, 1 not judged, 0 retests"
    assert summary(LineView("line 3", "ended")) == "0 units judged, 0 failed, 0 not judged, 0 retests"


def test_the_commands_of_a_line_are_completed_and_say_what_they_do() -> None:
    completion = ShellComplete(main, {}, "benchrig", "_BENCHRIG_COMPLETE")
    found = {each.value: each.help for each in completion.get_completions(["line"], "")}
    assert found.keys() == {"run", "check", "approve", "log", "drift"}
    assert all(found.values())
    assert "line" in {each.value for each in completion.get_completions([], "li")}


def test_a_wrong_word_leads_to_the_nearest_command(tmp_path: Path) -> None:
    done = here("line", "chek", cwd=tmp_path)
    assert (done.returncode, "did you mean 'check'" in done.stderr) == (4, True)
