"""console and power through whole runs: a sound device passes, its faulty twin fails in the step with the right cause."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from lxml import etree

from benchrig.errors import PlanError
from benchrig.report.brought import all_reports
from tests.run.kit import HEAD, Ran, device_text, run

OWN = "6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40"
# Prints when it starts and when it is written, answers on its console, and starts again.
DEVICE = f"""on_start: [{{print: 'boot v1.2'}}, {{delay: 200 ms, print: 'ready, vbat=3012 mV'}}]
console:
  - {{matches: 'limit (?P<limit>\\S+)', print: 'limit={{limit}}'}}
  - {{matches: 'self test', print: testing, then: [{{delay: 3 s, print: 'self test done: 0007 ok'}}]}}
  - {{matches: restart, print: bye, then: [{{delay: 10 ms, reboot: 2 s}}]}}
  - {{print: 'unknown command'}}
services:
  - service: {OWN}
    characteristics:
      - characteristic: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40
        as: uint8
        properties: [read, write]
        value: 1
        on_write: {{then: [{{print: 'wrote {{written}}'}}]}}
"""
NAME = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"


def ran(steps: str, *, device: str = DEVICE, air: str | None = None, **more: object) -> Ran:
    return run(f"{HEAD}steps:\n{steps}", device_text("", more=device), air=air, **more)  # type: ignore[arg-type]


def wait(pattern: str, expect: str = "", *, send: str = "", within: str = "5 s") -> str:
    said = f"    send: {send}\n" if send else ""
    limits = f"    expect: {{{expect}}}\n" if expect else ""
    return f"  - console:\n{said}    until: {{line: {{matches: '{pattern}'}}}}\n    within: {within}\n{limits}"


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_line_is_waited_for_and_its_groups_are_readings(air: str) -> None:
    pattern = "self test done: (?P<number>\\d+) (?P<word>\\w+)"
    limits = "number: {max: 7}, word: {equals: ok}, reached_after: {min: 3 s, max: 3.5 s}, count: {equals: 2}"
    device = DEVICE.replace("reboot: 2 s", "reboot: 1 s")
    done = ran("  - scan:\n" + wait(pattern, limits, send="self test"), device=device, air=air)
    assert done.ended.exit_code == 0, done.ended.message
    assert [(r.name, r.value) for r in done.step(2).readings] == [
        ("count", 2), ("reached_after", 3.0), ("line", "self test done: 0007 ok"), ("number", 7), ("word", "ok"),
    ]  # fmt: skip
    for wrong in (
        DEVICE.replace("0007 ok", "0008 ok"),
        DEVICE.replace("0007 ok", "0007 bad"),
        DEVICE.replace("delay: 3 s", "delay: 4 s"),
    ):
        failed = ran("  - scan:\n" + wait(pattern, limits, send="self test"), device=wrong, air=air)
        assert (failed.verdicts(), failed.ended.cause) == (["pass", "fail"], "limit")


def test_a_line_that_never_comes_says_what_came() -> None:
    done = ran("  - scan:\n" + wait("self test passed", send="self test"))
    assert (done.verdicts(), done.ended.cause) == (["pass", "fail"], "limit")
    assert done.ended.message == (
        "not reached: expected line matches 'self test passed'; found 'self test done: 0007 ok' after 5 s, 2 lines"
    )
    silent = ran("  - scan:\n" + wait("self test passed", send="self test"), device="console: []\nservices: []\n")
    assert (
        silent.ended.message
        == "not reached: expected line matches 'self test passed'; no line was printed after 5 s, 0 lines"
    )


WRITE = f"  - write: {NAME}\n    value: 2\n    format: {{as: uint8}}\n"


def test_nothing_is_lost_between_two_steps() -> None:
    """What was printed since the step before began counts, unless a step has seen it."""
    first = wait("boot (?P<version>v.*)", "version: {equals: v1.2}, reached_after: {max: 0 s}")
    both = first + "  - connect:\n" + WRITE + wait("wrote .*", "reached_after: {max: 0 s}")
    device = DEVICE.replace("print: 'boot v1.2'", "delay: 1 s, print: 'boot v1.2'")
    done = ran("  - scan:\n" + both, device=device)
    assert done.ended.exit_code == 0, done.ended.message
    [note] = done.step(2).notes
    assert note.text.startswith("the line is from ")
    assert note.text.endswith(" s before this step began")
    fresh = ran("  - scan:\n" + both.replace("{max: 0 s}", "{min: 0 s}", 1), device=device)
    assert (fresh.verdicts()[1], fresh.ended.cause) == ("fail", "limit")
    twice = ran("  - scan:\n" + both + wait("boot .*", within="1 s"), device=device)
    assert (twice.verdicts()[-1], twice.ended.cause) == ("fail", "limit")
    assert ran(first).ended.exit_code == 0  # no step was before the first one


SENT = "  - console:\n    send: restart\n"
RESTARTS = {
    "sent": SENT + wait("boot .*"),
    "sent and waited for": wait("boot .*", send="restart"),
    "written": WRITE + wait("boot .*"),
    "in a group": "  - group: restart\n    steps:\n      - wait: 10 ms\n    " + WRITE.replace("\n  ", "\n      ") + wait("boot .*"),
    "first in a group": WRITE + "  - group: boots\n    steps:\n      - {console: , until: {line: {matches: 'boot .*'}}, within: 5 s}\n",
    "as a restart": "  - reboot:\n    steps:\n    " + WRITE.replace("\n  ", "\n      ") + wait("boot .*"),
}  # fmt: skip


@pytest.mark.parametrize("how", RESTARTS)
def test_a_line_from_before_the_restart_is_none_of_it(how: str) -> None:
    """'boot' of the start of the unit was seen by no step: it does not stand for the one that was asked for."""
    restarts = DEVICE.replace("print: 'wrote {written}'", "delay: 10 ms, reboot: 1 s")
    steps = "  - connect:\n" + RESTARTS[how]
    if how.startswith("sent"):
        steps = "  - scan:\n" + RESTARTS[how]
    elif how != "as a restart":
        steps = steps.replace("value: 2", "value: 2\n    expect: {lost_after: {max: 5 s}}", 1)
        if how == "in a group":
            steps = steps.replace("\n    expect: {lost", "\n        expect: {lost", 1)
    done = ran(steps, device=restarts)
    assert done.ended.exit_code == 0, done.ended.message
    for broken in (
        restarts.replace("[{delay: 10 ms, reboot: 1 s}]", "[{print: ok}]").replace(
            "delay: 10 ms, reboot: 2 s", "print: ok"
        ),
        restarts.replace("[{print: 'boot v1.2'}", "[{delay: 30 s, print: 'boot v1.2'}"),
    ):
        failed = ran(steps, device=broken)
        assert (failed.ended.verdict, failed.ended.cause) == ("fail", "limit"), failed.ended.message


def test_a_line_that_is_too_old_is_told() -> None:
    message = ran("  - scan:\n  - wait: 1 s\n" + wait("boot .*", within="1 s")).ended.message
    assert message == (
        "not reached: expected line matches 'boot .*'; no line was printed after 1 s, 0 lines; "
        "one from 3.05 s before this step is too old"
    )


@pytest.mark.parametrize("step", ["  - console:\n", "  - console:\n    send: limit 4\n"])
def test_lines_before_a_step_that_only_looks_or_sends_count_no_longer(step: str) -> None:
    done = ran("  - scan:\n" + step + wait("boot .*", within="1 s"))
    assert (done.verdicts(), done.ended.cause) == (["pass", "pass", "fail"], "limit")
    counted = ran("  - scan:\n  - console:\n    expect: {count: {equals: 2}}\n")
    assert counted.ended.exit_code == 0, counted.ended.message


def test_what_was_found_is_saved_and_sent() -> None:
    found = "  - scan:\n" + wait("ready, vbat=(?P<number>\\d+) mV") + "    save: {number: seen}\n"
    done = ran(found + wait("limit=(?P<limit>.*)", "limit: {equals: '${seen}'}", send="limit ${seen}"))
    assert done.ended.exit_code == 0, done.ended.message
    assert [note.text for note in done.step(3).notes] == ["sends to the console: limit 3012"]
    other = ran(found + wait("limit=(?P<limit>.*)", "limit: {equals: '${seen}'}", send="limit 1${seen}"))
    assert (other.verdicts()[-1], other.ended.cause) == ("fail", "limit")


def test_a_group_may_be_what_is_waited_for() -> None:
    device = "on_start: [{print: t=20}, {delay: 1 s, print: t=30}, {delay: 2 s, print: t=hot}, {delay: 3 s, print: t=41}]\nservices: []\n"
    step = "  - scan:\n    for: 100 ms\n  - console:\n    until: {line: {matches: 't=(?P<t>.*)'}, t: {min: 40}}\n"
    done = ran(step + "    expect: {t: {max: 45}}\n", device=device)
    assert done.ended.exit_code == 0, done.ended.message
    assert done.reading(2, "t").value == 41


@pytest.mark.parametrize(
    ("expect", "cause", "message"),
    [
        ("vbat: {min: 3}", "plan", "the group 'vbat' found '3012 mV' with a unit: its limit has none"),
        (
            "vbat: {min: 3 A}",
            "plan",
            "the group 'vbat' found '3012 mV' with a unit: 3012 mV is a voltage, not a current",
        ),
        ("state: {min: 3}", "device", "the group 'state' found 'ready', expected a number"),
        ("number: {min: 3 V}", "plan", "the group 'number' found 3012 without a unit, and its limit is in V"),
        ("state: {equals: ready}, vbat: {equals: 3012 mV}", None, ""),
    ],
)
def test_a_group_that_is_no_such_number(expect: str, cause: str | None, message: str) -> None:
    pattern = "(?P<state>\\w+), vbat=(?P<vbat>(?P<number>\\d+) mV)"
    ended = ran("  - scan:\n" + wait(pattern, expect)).ended
    assert ended.cause == cause, ended.message
    assert ended.message.startswith(message)


def test_a_limit_over_rounds_that_does_not_fit_what_came_is_the_plans() -> None:
    """What the group finds is text where the step has no number to hold it against; only the run can tell."""
    send = "{console: , name: said, send: 'limit ${round}', until: {line: {matches: 'limit=(?P<limit>.*)'}}}"
    steps = f"  - scan:\n  - repeat: 3\n    name: again\n    steps: [{send}]\n    expect: {{said.limit: LIMIT}}\n"
    ended = ran(steps.replace("LIMIT", "{min: 1}")).ended
    assert (ended.exit_code, ended.cause, ended.root and ended.root.node) == (4, "plan", "2")
    assert ended.message.startswith("'min' does not apply to a reading that is text")
    codes = [
        ran(steps.replace("LIMIT", limit)).ended.exit_code for limit in ("{matches: '[123]'}", "{matches: '[12]'}")
    ]
    assert codes == [0, 1]


# --- power


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_the_link_is_over_and_the_unit_starts_again(air: str) -> None:
    steps = (
        "  - connect:\n  - power: cycle\n    expect: {elapsed: {min: 1 s, max: 20 s}}\n"
        + wait("boot v1.2")
        + "  - connect:\n    name: again\n"
    )
    done = ran(steps, air=air)
    assert done.verdicts() == ["pass"] * 4, done.ended.message


@pytest.mark.parametrize("before", ["  - scan:\n", "  - connect:\n", ""])
@pytest.mark.parametrize("wait", ["scan", "connect"])
def test_how_long_it_takes_to_advertise_counts_from_the_power(before: str, wait: str) -> None:
    """Also of a unit that was off for long."""
    limit = "    expect: {advertises_after: {min: 1 ms, max: 500 ms}}\n"
    steps = f"{before}  - power: cycle\n    for: 5 s\n  - {wait}:\n    name: again\n{limit}"
    done = ran(steps)
    assert done.ended.exit_code == 0, done.ended.message
    slow = DEVICE.replace("on_start: [", "on_start: [{sleep: 3 s}, ")
    failed = ran(steps, device=slow)
    assert (failed.ended.verdict, failed.ended.cause, failed.verdicts()[-1]) == ("fail", "limit", "fail")


def test_off_is_silent_until_it_is_on() -> None:
    off = "  - connect:\n  - power: down\n    expect: {elapsed: {max: 20 s}}\n  - scan:\n    within: 3 s\n"
    done = ran(off)
    assert (done.verdicts(), done.ended.cause) == (["pass", "pass", "fail"], "link")
    on = ran(off.replace("  - scan:\n    within: 3 s\n", "  - power: up\n  - scan:\n    expect: {count: {min: 1}}\n"))
    assert on.ended.exit_code == 0, on.ended.message


def test_a_step_that_needs_the_link_after_power_is_a_mistake() -> None:
    with pytest.raises(PlanError, match="needs a connection"):
        ran(f"  - connect:\n  - power: cycle\n  - read: {NAME}\n")


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ('console:\n    send: "a\\nb"', "a line to be sent has no line end in it"),
        (
            "console:\n    until: {line: {matches: '(?P<count>.*)'}}",
            "the group 'count' is called as a reading of the step",
        ),
        ("console:\n    until: {lin: {matches: x}}", "lin"),
        ("console:\n    expect: {line: {equals: x}}", "line"),
        ("console:\n    until: {line: {matches: '(?P<a>.*)'}}\n    expect: {b: {equals: x}}", "did you mean|'b'"),
        ("power: upp", "did you mean .up.|cycle"),
        ("power: up\n    for: 3 s", "power up takes no time"),
    ],
)
def test_mistakes(step: str, message: str) -> None:
    with pytest.raises(PlanError, match=message):
        ran(f"  - {step}\n")


# --- the station's wires


def test_a_station_without_wires_ends_the_run_before_its_first_step(tmp_path: Path) -> None:
    beacons = "others: [{count: 1}]\n"
    for verb, step in (("console", "console:"), ("power", "power: cycle")):
        ended = run(f"{HEAD}steps:\n  - {step}\n", beacons).ended
        assert (ended.cause, ended.exit_code) == ("station", 7)
        assert f"this station has no {verb} for the unit" in ended.message


TWO = """plan: two
devices:
  one: {select: {name: unit 1}}
  other: {select: {name: other}}
steps:
  - {scan: , device: one}
  - {scan: , device: other, name: scan for the other}
"""


def test_of_several_devices_each_has_its_own_console_and_switch() -> None:
    other = device_text("", name="other", address="C4:00:00:00:00:02", more="console: [{print: other}]\nservices: []\n")
    step = "  - {console: , device: %s, send: who, until: {line: {matches: other}}, within: 1 s}\n"
    assert run(TWO + step % "other", device_text("", more=DEVICE), other).ended.exit_code == 0
    assert run(TWO + step % "one", device_text("", more=DEVICE), other).verdicts()[-1] == "fail"
    off = "  - {power: down, device: one}\n  - {connect: , device: other}\n  - {connect: , device: one, within: 3 s, name: gone}\n"
    assert run(TWO + off, device_text("", more=DEVICE), other).verdicts() == ["pass"] * 4 + ["fail"]
    for wired in ("{console: }", "{power: cycle}", "{listen: {console: }, steps: [wait: 1 s]}"):
        with pytest.raises(PlanError, match="does not say which device it is about"):
            run(TWO + f"  - {wired}\n", device_text("", more=DEVICE), other)


def test_two_units_are_told_apart_by_the_one_that_was_found() -> None:
    other = device_text(
        "", name="other", address="C4:00:00:00:00:02", more="on_start: [{print: other}]\nservices: []\n"
    )
    plan = f"{HEAD}steps:\n" + wait("boot .*")
    ended = run(plan, device_text("", more=DEVICE), other).ended
    assert (ended.cause, ended.exit_code) == ("station", 7)
    assert "not known which one is meant: unit 1, other" in ended.message
    assert (
        run(plan.replace("steps:\n", "steps:\n  - scan:\n"), device_text("", more=DEVICE), other).ended.exit_code == 0
    )


def test_a_caution_is_acknowledged_before_a_line_is_sent() -> None:
    ended = ran("  - console:\n    send: erase\n", acknowledged=False)
    assert ended.ended.exit_code == 5
    text = f"{HEAD}caution: clamp it\nsteps:\n  - console:\n    send: erase\n"
    assert run(text, device_text("", more=DEVICE), acknowledged=False).ended.cause == "operator"


@pytest.mark.parametrize("limit", ["min: 2.9 V", "min: 2900 mV, max: 3.1 V", "nominal: 3 V, tolerance: 5 %"])
def test_a_group_with_a_unit_that_no_line_has_breaks_its_limit(limit: str) -> None:
    step = (
        "  - console:\n    until: {line: {matches: 'cell (?P<cell>\\d+ mV)'}}\n"
        f"    within: 1 s\n    expect: {{cell: {{{limit}}}}}\n"
    )
    for printed, code in (("cell 3010 mV", 0), ("cell 9 mV", 1), ("cell not measured", 1)):
        done = ran(step, device=f"on_start: [{{delay: 300 ms, print: {printed}}}]\nservices: []\n")
        assert (done.ended.exit_code, done.ended.cause) == (code, "limit" if code else None), done.ended.message


# --- what a unit may print

HOSTILE = "\\e]0;owned\\a\\e[2J=1+1|' /C calc'!A0 </failure>]]>&\\0\\u202e"


def test_hostile_output_steers_nothing(tmp_path: Path) -> None:
    """It is a reading, a message, a line of console.log: each is made safe where it is shown."""
    device = f'on_start: [{{print: "{HOSTILE}"}}]\nservices: []\n'
    done = ran("  - scan:\n" + wait(".*owned(?P<rest>.*)", "rest: {equals: none}, line: {lacks: owned}"), device=device)
    assert (done.ended.verdict, done.ended.cause) == ("fail", "limit")
    for choice in all_reports():
        data = choice.render(done.record)
        assert all(character.isprintable() for line in data.decode("utf-8").splitlines() for character in line)
        if choice.report.suffix == ".xml":
            assert etree.fromstring(data).tag
        elif choice.report.suffix == ".csv":
            cells = [cell for row in csv.reader(data.decode("utf-8-sig").splitlines()) for cell in row]
            assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]
