"""What a stream proves: sequences, silences, and streams that never come."""

from __future__ import annotations

import asyncio

import pytest

from benchrig.errors import PlanError
from benchrig.record.events import AnyEvent, Opened
from benchrig.report.files.junit import junit_xml
from benchrig.report.whole import reason
from benchrig.run.runner import Runner
from tests.run.kit import Ran, device_text, plan_text, run

STREAM = "7b1f0002-4d1e-4b6f-9a57-2f3c1de0a001"


def sending(form: str, value: str, notify: str = "period: 50 ms") -> str:
    """A device that sends the values by itself."""
    return device_text(f"""
services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - {{characteristic: {STREAM}, {form}, properties: [read, notify], value: {value}, notify: {{{notify}}}}}
""")


def heard(form: str, device: str, limits: str, more: str = "for: 2 s", counter: str = "") -> Ran:
    """A plan that listens to it, in its own words for the format."""
    keys = "".join(
        f"    {line}\n"
        for line in (more, f"counter: {counter}" * bool(counter), f"expect: {limits}" * bool(limits))
        if line
    )
    names = f"    stream: {{uuid: {STREAM}{', ' if form else ''}{form}}}"
    return run(plan_text(f"  - notify: stream\n{keys}", attributes=names), device)


NOTHING = sending("as: uint8", "{counter: {}}", "period: 1 h")
ONE = sending("as: uint8", "{counter: {}}", "period: 50 ms, count: 1")
BURST = sending("as: uint8", "{counter: {}}", "period: 50 ms, count: 5")


# --- a reading without a measurement is none

STATISTICS = {
    "lost": "{equals: 0}", "duplicated": "{equals: 0}", "rate": "{max: 100 Hz}", "gap_max": "{max: 1 h}",
    "gap_p95": "{max: 1 h}", "throughput": "{max: 1 Mbit/s}",
}  # fmt: skip


@pytest.mark.parametrize("name", [*STATISTICS, "first_after"])
def test_of_a_stream_that_never_comes_nothing_passes(name: str) -> None:
    limit = STATISTICS.get(name, "{max: 1 h}")
    ran = heard("as: uint8", NOTHING, f"{{{name}: {limit}, count: {{equals: 0}}}}", counter="value")
    judgement = ran.reading(3, name).judgement
    assert (ran.ended.exit_code, judgement.passed) == (1, False)
    assert judgement.sentence == "there is no value: no notification arrived"


@pytest.mark.parametrize("name", STATISTICS)
def test_one_notification_is_no_statistic(name: str) -> None:
    ran = heard("as: uint8", ONE, f"{{{name}: {STATISTICS[name]}, count: {{equals: 1}}}}", counter="value")
    assert ran.ended.exit_code == 1
    assert ran.reading(3, name).judgement.sentence == "there is no value: 1 notification arrived, 2 needed"


@pytest.mark.parametrize("more", ["for: 2 s", "count: 3", "for: 2 s\n    save: {count: heard}"])
def test_a_step_that_hears_nothing_does_not_pass(more: str) -> None:
    use = "  - call: benchrig:Quantity\n    on_fail: stop\n    with: {a: '${heard}'}\n" if "save" in more else ""
    names = f"    stream: {{uuid: {STREAM}, as: uint8}}"
    ran = run(plan_text(f"  - notify: stream\n    {more}\n    on_fail: stop\n{use}", attributes=names), NOTHING)
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("fail", "limit", 1)


def test_silence_may_be_what_is_wanted() -> None:
    assert heard("as: uint8", NOTHING, "{count: {equals: 0}}").ended.exit_code == 0


@pytest.mark.parametrize("limit", ["rate: {min: 15 Hz}", "gap_max: {max: 1 s}", "gap_p95: {max: 1 s}", "throughput: {min: 0.1 kbit/s}"])  # fmt: skip
def test_a_stream_that_stops_does_not_pass(limit: str) -> None:
    assert heard("as: uint8", BURST, f"{{{limit}}}", "for: 10 s").ended.exit_code == 1
    assert heard("as: uint8", BURST, f"{{{limit}}}", "count: 5").ended.exit_code == 0, "up to the last one it was there"


def test_the_window_of_a_statistic_is_on_record() -> None:
    ran = heard("as: uint8", BURST, "{rate: {max: 1 Hz}, first_after: {max: 1 s}, count: {equals: 5}}", "for: 10 s")
    rate, first, count = (ran.reading(3, name) for name in ("rate", "first_after", "count"))
    assert (rate.window.count, first.window.count, count.window.count) == (5, 1, 5)
    assert rate.window.begin == first.window.end
    assert first.window.begin == count.window.begin
    assert 9.5 < rate.window.end - rate.window.begin < 10
    assert rate.value == pytest.approx(5 / (rate.window.end - rate.window.begin), rel=1e-5)


def test_the_window_of_the_values_is_on_record() -> None:
    window = heard("as: uint8", BURST, "{value: {max: 10}}").reading(3).window
    assert (window.count, round(window.end - window.begin, 1)) == (5, 0.2)


# --- what a sequence counts

SKIPS = "{sequence: [0, 1, 2, 4, 5, 6, 7, 8, 9, 10]}"


@pytest.mark.parametrize(
    ("form", "start"),
    [
        ("as: uint8, scale: 0.5", 250),
        ("as: uint8, scale: 2, offset: -3", 250),
        ("as: uint8, words: {0: zero, 255: full}", 250),
        ("as: uint4", 10),
        ("as: uint12", 4090),
        ("as: uint2", 1),
        ("as: sint8", 120),
        ("as: sint12", 2040),
        ("as: uint16, order: big", 65530),
    ],
)
def test_the_raw_number_counts_and_wraps_where_its_format_ends(form: str, start: int) -> None:
    sender = f"as: {form.replace('sint', 'uint').split()[1].rstrip(',')}{', order: big' if 'big' in form else ''}"
    device = sending(sender, f"{{counter: {{start: {start}}}}}")
    limits = "{lost: {equals: 0}, duplicated: {equals: 0}}"
    assert heard(form, device, limits, "count: 30", "value").ended.exit_code == 0


@pytest.mark.parametrize("form", ["as: uint8, scale: 0.1", "as: uint8, scale: 0.5", "as: uint8, words: {2: two}"])
def test_what_is_lost_is_found_under_scale_and_words(form: str) -> None:
    ran = heard(form, sending("as: uint8", SKIPS), "{lost: {equals: 0}}", "count: 10", "value")
    assert (ran.ended.exit_code, ran.reading(3, "lost").value) == (1, 1)


def test_a_part_of_a_number_counts() -> None:
    device = sending("as: uint8", "{counter: {start: 10, modulo: 16}}")
    limits = "{lost: {equals: 0}, duplicated: {equals: 0}}"
    assert heard("as: uint8, bits: {num: 0x0F}", device, limits, "count: 30", "num").ended.exit_code == 0


@pytest.mark.parametrize(
    ("form", "counter", "message"),
    [
        ("as: utf8", "value", "'value' is utf8; only a whole number of 2 bits or more counts up"),
        ("as: hex", "value", "'value' is hex; only"),
        ("as: float32", "value", "'value' is float32; only"),
        ("", "value", "'value' is plain bytes; only"),
        ("as: boolean", "value", "'value' is boolean; only"),
        ("as: uint8, bits: {lit: 0x01}", "lit", "'lit' is boolean; only"),
        ("as: uint8, bits: {lit: 0x01}", "value", "the value has no field 'value' to count by"),
        ("fields: [{name: all, as: uint8, list: true}]", "all", "'all' is list of uint8; only"),
    ],
)
def test_a_counter_that_is_no_number_is_a_mistake(form: str, counter: str, message: str) -> None:
    with pytest.raises(PlanError) as refused:
        heard(form, NOTHING, "{lost: {equals: 0}}", counter=counter)
    problem = refused.value.problems[0]
    assert problem.message.startswith(message)
    assert problem.place.line == 12


@pytest.mark.parametrize("name", ["lost", "duplicated"])
def test_without_a_sequence_nothing_is_lost(name: str) -> None:
    with pytest.raises(PlanError) as refused:
        heard("as: uint8", NOTHING, f"{{{name}: {{equals: 0}}}}")
    assert refused.value.problems[0].message == f"'{name}' needs a counter"


OPTIONAL = "fields: [{name: flags, as: uint8}, {name: number, as: uint8, when: 0x01}]"


@pytest.mark.parametrize("name", ["lost", "duplicated"])
@pytest.mark.parametrize("flags", ["0", "{sequence: [1, 1, 0]}"])
def test_a_sequence_that_is_not_in_every_sample_is_not_known(name: str, flags: str) -> None:
    form = "fields: [{name: flags, as: uint8}, {name: number, as: uint8}]"
    device = sending(OPTIONAL, "{flags: 0}") if flags == "0" else mixed()
    ran = heard(OPTIONAL, device, f"{{{name}: {{equals: 0}}, count: {{min: 5}}}}", counter="number")
    assert ran.ended.exit_code == 1, form
    assert "arrived without 'number'" in ran.reading(3, name).judgement.sentence


def mixed() -> str:
    """Now and then a sample without the optional field."""
    return sending("as: hex", "{sequence: ['01 05', '01 06', '00', '01 07']}")


def test_a_counter_that_is_set_anew_has_lost_nobody_knows_what() -> None:
    device = sending("as: uint16", "{sequence: [500, 501, 502, 0, 1, 2, 3, 4]}")
    ran = heard("as: uint16", device, "{lost: {equals: 0}}", "count: 8", "value")
    assert ran.ended.exit_code == 1
    assert "the counter went back and counted on from there" in ran.ended.message


# --- subscriptions and time


def test_a_step_that_fails_ends_its_subscription() -> None:
    """Else the second step would find the stream running, whose phase tells nothing of the first notification."""
    device = sending("as: uint8", "{counter: {}}", "period: 2 s")
    steps = """  - notify: stream
    name: too few
    count: 5
    within: 3100 ms
  - notify: stream
    name: alone
    for: 3 s
    expect: {first_after: {max: 1 s}}
"""
    ran = run(plan_text(steps, attributes=f"    stream: {{uuid: {STREAM}, as: uint8}}"), device)
    assert ran.verdicts()[2:] == ["fail", "fail"]
    assert ran.reading("alone", "first_after").value > 2


@pytest.mark.parametrize("more", ["for: 10 s\n    attempts: 3", "for: 30 s\n    attempts: 2", "for: 5 s\n    within: 6 s", "for: 5 s\n    within: 12 s\n    attempts: 2"])  # fmt: skip
def test_every_attempt_has_time_to_listen(more: str) -> None:
    assert heard("as: uint8", sending("as: uint8", "1"), "{count: {min: 90}}", more).ended.exit_code == 0


@pytest.mark.parametrize("more", ["for: 5 s\n    within: 5 s", "for: 5 s\n    within: 11 s\n    attempts: 2"])
def test_a_time_in_which_no_unit_could_pass_is_a_mistake(more: str) -> None:
    with pytest.raises(PlanError, match="is too short to subscribe and listen for 5 s"):
        heard("as: uint8", NOTHING, "{count: {min: 1}}", more)


def test_fields_within_fields_are_readings() -> None:
    form = "fields: [{name: inner, fields: [{name: a, as: uint8}, {name: b, as: uint8}]}]"
    ran = heard(form, sending(form, "{inner: {a: 1, b: {counter: {}}}}"), "{value.inner.a: {equals: 1}}", "count: 5")
    assert (ran.ended.exit_code, ran.stray) == (0, [])


def test_a_saved_word_is_no_nominal_of_a_stream() -> None:
    """The mistake is told by the step, not by the callback that nobody waits for."""
    device = sending("as: uint8", "255")
    names = f"    stream: {{uuid: {STREAM}, as: uint8, words: {{255: not known}}}}"
    steps = """  - read: stream
    save: {value: first}
  - notify: stream
    for: 2 s
    expect: {value: {nominal: '${first}', tolerance: 1}}
"""
    ran = run(plan_text(steps, attributes=names), device)
    assert ran.stray == []
    assert ran.ended.exit_code != 0
    assert ran.ended.cause != "internal"


def cut_off(device: str) -> Ran:
    """Interrupted after a second of ten."""

    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, Opened) and event.where.node == "3":
            asyncio.get_running_loop().call_later(1, runner.interrupt)

    step = "  - notify: stream\n    for: 10 s\n    expect: {value: {max: 8}, length: {equals: 1 bytes}}\n"
    names = f"    stream: {{uuid: {STREAM}, as: uint8}}"
    return run(plan_text(step, attributes=names), device, during=during)


@pytest.mark.parametrize("device", [NOTHING, BURST], ids=["nothing came", "all was well so far"])
def test_a_stream_that_was_cut_off_is_not_judged(device: str) -> None:
    ran = cut_off(device)
    assert ran.ended.exit_code == 2
    assert [reading.judgement for reading in ran.step(3).readings] == [None, None]


def test_a_sample_outside_stays_one_when_the_stream_is_cut_off() -> None:
    ran = cut_off(sending("as: uint8", "{counter: {}}"))
    assert ran.ended.exit_code == 2
    assert ran.reading(3, "value").judgement.sentence.endswith("9 is above the maximum 8 by 1")
    assert ran.reading(3, "length").judgement is None


MALFORMED = sending("as: hex", "'0102'")


def test_what_came_malformed_did_come() -> None:
    ran = heard("as: uint8", MALFORMED, "{lost: {equals: 0}}", counter="value")
    assert ran.reading(3, "lost").judgement.sentence == "there is no value: 40 notifications arrived malformed"


def test_a_malformed_value_without_bytes_is_said_once() -> None:
    ran = heard("as: uint8", sending("as: hex", "''"), "{rate: {min: 1 Hz}}")
    assert ran.step(3).ended.message == "stream, notification 1: a uint8 has 1 byte, found 0 bytes"


def test_the_reason_names_each_reading() -> None:
    ran = heard("as: uint8", BURST, "{rate: {min: 10 Hz}, gap_max: {max: 100 ms}}")
    said = reason(ran.record)
    assert "fail (limit): rate: " in said
    assert "; gap_max: " in said
    assert said.partition("fail (limit): ")[2].encode() in junit_xml(ran.record)
