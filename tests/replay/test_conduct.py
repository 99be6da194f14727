"""What a unit does at its own times: each such unit has a twin on which the plan fails alike, to the reading."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.replay.checking import compare
from tests.replay.kit import failed
from tests.run.faults import NAMES, OWN, SERVICES
from tests.run.kit import DEVICES, LINE, device_text, plan_text, run

READS = "read: battery level\n    name: read {n}\n    expect: {{value: {{min: 50 %}}, elapsed: {{max: 500 ms}}}}"
BATTERY = "properties: [read], value: 97 %}"


def steps(*texts: str) -> str:
    return "".join(f"  - {text}\n" for text in texts)


def reads(count: int) -> str:
    return steps(*(READS.format(n=number) for number in range(1, count + 1)))


def reading(conduct: str) -> str:
    """The unit of the table of causes, whose battery level does this when it is read."""
    assert BATTERY in SERVICES
    return SERVICES.replace(BATTERY, f"properties: [read], value: 97 %, on_read: {{{conduct}}}}}", 1)


def sending(values: str) -> str:
    return SERVICES.replace("value: {sequence: [1, 2, 4, 5]}", f"value: {{sequence: [{values}]}}")


LOST = "notify: skips\n    count: 30\n    counter: value\n    expect: {lost: {equals: 0}, gap_max: {max: 60 ms}}"
TWICE = "notify: skips\n    count: 8\n    counter: value\n    expect: {duplicated: {equals: 0}}"
COMMAND = "exchange: command\n    raw: '01'\n    expect: {value: {equals: '81 00'}, response_time: {max: 200 ms}}"
ANSWERS = "as: hex, properties: [write, write without response, notify], value: '00', on_write: {store: false}"


def answering(conduct: str) -> str:
    assert ANSWERS in SERVICES
    done = conduct.replace("COMMAND", OWN.format(8))
    return SERVICES.replace(ANSWERS, ANSWERS.replace("{store: false}", f"{{store: false, {done}}}"))


# by name: plan steps, services of the unit, further keys of it
UNITS: dict[str, tuple[str, str, str]] = {
    "the third read ends the link": (reads(4), reading("sometimes: [{from: 3, times: 1, disconnect: true}]"), ""),
    "the fourth read restarts it": (reads(5), reading("sometimes: [{from: 4, times: 1, reboot: 2 s}]"), ""),
    "the second read is late": (reads(3), reading("sometimes: [{from: 2, times: 1, delay: 1 s}]"), ""),
    "the third read is another value": (reads(4), reading("sometimes: [{from: 3, times: 1, raw: '10'}]"), ""),
    "the third read is refused": (reads(4), reading("sometimes: [{from: 3, times: 1, att_error: 0x81}]"), ""),
    "the second read has no answer": (reads(3), reading("sometimes: [{from: 2, times: 1, silent: true}]"), ""),
    "the value falls with each read": (reads(4), SERVICES.replace("value: 97 %", "value: {sequence: [97 %, 60 %, 40 %]}", 1), ""),
    "a stream with a gap": (steps(LOST), sending(", ".join(str(n) for n in range(40) if n not in (20, 21))), ""),
    "a stream with a value twice": (steps(TWICE), sending("1, 2, 3, 3, 4, 5, 6, 7"), ""),
    "a stream that drops values": (steps(LOST), SERVICES.replace("[1, 2, 4, 5]}, notify: {period: 50 ms}", "[1, 2, 3, 4]}, notify: {period: 50 ms, drop_every: 7}"), ""),
    "a wrong answer": (steps(COMMAND), answering("notify: {COMMAND: '81 01'}"), ""),
    "a late answer": (steps(COMMAND), answering("then: [{delay: 700 ms, notify: {COMMAND: '81 00'}}]"), ""),
    "no answer and a restart": (steps(COMMAND), answering("then: [{delay: 300 ms, reboot: 1 s}]"), ""),
    "every request is slow": (reads(2), SERVICES, "on_request: {delay: 700 ms}"),
    "it is gone for good after a link": (
        steps("write: leave\n    value: 1\n    expect: {lost_after: {max: 1 s}}", "connect:\n    within: 5 s"),
        SERVICES.replace("disconnect: true}", "disconnect: true, sleep: for good}"), "",
    ),
    "it lets the link go a while after connecting": (steps("wait: 5 s"), SERVICES, "faults: {disconnect_after: 3 s}"),
}  # fmt: skip
# What a record alone tells too little of: the values between the last one and the extremes, and requests beside those of steps.
CAPTURE_ALONE = {"a stream with a value twice", "every request is slow"}


@pytest.mark.parametrize("name", UNITS)
def test_the_twin_of_conduct(name: str, tmp_path: Path) -> None:
    plan, services, more = UNITS[name]
    made = failed(tmp_path, plan_text(plan, attributes=NAMES), device_text(services, more=more))
    assert made.record.ended is not None
    assert made.record.ended.verdict != "pass", "the plan notices nothing"
    for capture in (True, False) if name not in CAPTURE_ALONE else (True,):
        twin = made.twin(capture=capture)
        compared = made.again(twin)
        assert compared.alike, f"{compared.differences}\n{compared.twin.text}\n{twin.text}"


def test_the_readings_are_those_of_the_unit(tmp_path: Path) -> None:
    """With a capture every reading of every step is the same, but for times within a connection interval."""
    made = failed(
        tmp_path,
        LINE.read_text("utf-8"),
        (DEVICES / "logger.yaml").read_text("utf-8").replace("value: 97 %", "value: 9 %"),
    )
    again = run(made.plan, made.twin(capture=True).text).record
    for ours, theirs in zip(made.record.steps, again.steps, strict=True):
        values = {each.name: each.value for each in theirs.readings}
        for each in ours.readings:
            if ours.planned.kind in ("scan", "connect") and each.name in ("count", "elapsed", "rssi"):
                continue  # each advertising event comes up to 10 ms later, at random
            if isinstance(each.value, float):
                assert values[each.name] == pytest.approx(each.value, abs=0.035, rel=0.02), (
                    ours.planned.name,
                    each.name,
                )
            else:
                assert values[each.name] == each.value, (ours.planned.name, each.name)


def test_a_sound_unit_does_not_pass_for_the_failed_one(tmp_path: Path) -> None:
    plan, services, _ = UNITS["the third read is another value"]
    made = failed(tmp_path, plan_text(plan, attributes=NAMES), device_text(services))
    sound = made.twin(capture=True)
    object.__setattr__(sound, "text", device_text(SERVICES))
    compared = made.again(sound)
    assert not compared.alike
    assert "cause: limit on the unit, none on the twin" in compared.differences


def test_each_device_of_a_plan_has_its_twin(tmp_path: Path) -> None:
    plan = """plan: two
devices:
  one: {select: {name: unit 1}}
  two: {select: {name: unit 2}}
steps:
  - connect:
    device: one
  - connect:
    device: two
  - read: battery level
    device: one
    expect: {value: {min: 50 %}}
  - read: battery level
    device: two
    expect: {value: {min: 98 %}}
"""
    other = device_text(SERVICES, name="unit 2", address="C4:00:00:00:00:02")
    made = failed(tmp_path, plan, device_text(SERVICES), other)
    for capture in (True, False):
        twin = made.twin(capture=capture)
        assert [device.name for device in twin.devices()] == ["unit 1", "unit 2"]
        assert made.again(twin).alike
    assert OWN.format(2) in made.twin(capture=True).text


@pytest.mark.parametrize(
    ("unit", "twin", "said"),
    [
        # the same step decides, another fails besides
        ("sometimes: [{from: 1, times: 2, raw: '10'}]", "sometimes: [{from: 1, times: 1, raw: '10'}]",
         "step 4: cause limit on the unit, no failure on the twin"),
        ("sometimes: [{from: 1, times: 1, raw: '10'}]", "sometimes: [{from: 1, times: 1, raw: '10'}, {from: 2, att_error: 0x81}]",
         "step 4: no failure on the unit, cause device on the twin"),
        ("sometimes: [{times: 1, att_error: unlikely error}]", "sometimes: [{times: 1, silent: true}]",
         "reason: read battery level: the device answered with ATT error 0x0E (unlikely error) on the unit"),
    ],
)  # fmt: skip
def test_another_failure_is_not_alike(unit: str, twin: str, said: str) -> None:
    ours, theirs = (run(plan_text(reads(2)), device_text(reading(conduct))).record for conduct in (unit, twin))
    compared = compare(ours, theirs)
    assert not compared.alike
    assert any(difference.startswith(said) for difference in compared.differences), compared.differences
    assert compare(ours, ours).alike
