"""The console as a stream of listen: a limit holds for every line that is printed while the steps run, whatever they do."""

from __future__ import annotations

import pytest

from benchrig.console.console import Console
from benchrig.errors import PlanError, StationError
from benchrig.radio.beside import Beside
from tests.run.kit import HEAD, Ran, device_text, run

OWN = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"
DEVICE = f"""on_start: [{{print: boot}}]
on_connect: [{{print: 'central up'}}]
on_disconnect: [{{print: 'central gone'}}]
services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: {OWN}
        as: uint8
        properties: [read, write]
        value: 1
        on_write: {{then: [{{delay: 300 ms, print: 'state ok'}}, {{delay: 500 ms, reboot: 2 s}}]}}
"""
FAULTY = {
    "at a write": DEVICE.replace("print: 'state ok'", "print: 'ASSERT main.c:7'"),
    "at the start": DEVICE.replace("print: boot", "print: 'ASSERT main.c:7'"),
    "at the end of a link": DEVICE.replace("print: 'central gone'", "print: 'ASSERT main.c:7'"),
}
# All that may happen to a link in it: made, ended, lost by a restart, made anew.
STEPS = f"""  - listen: {{console: }}
    steps:
      - connect:
      - disconnect:
      - connect:
        name: connect again
      - group: settings
        steps:
          - write: {OWN}
            value: 2
            format: {{as: uint8}}
            within: 15 s
            expect: {{lost_after: {{max: 12 s}}}}
        finally:
          - wait: 3 s
      - connect:
        name: connect after it
    expect:
      console.line: {{lacks: ASSERT}}
"""


def ran(steps: str, device: str = DEVICE, **more: object) -> Ran:
    return run(f"{HEAD}steps:\n{steps}", device_text("", more=device), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_no_line_says_assert_while_the_plan_runs(air: str) -> None:
    done = ran(STEPS + "      console.count: {min: 5}\n", air=air)
    assert done.ended.exit_code == 0, done.ended.message
    assert done.ended.judged == 3


@pytest.mark.parametrize("fault", FAULTY)
def test_one_that_does_fails_the_step_around(fault: str) -> None:
    done = ran(STEPS, FAULTY[fault])
    [outer] = [each for each in done.record.executions if each.planned.kind == "listen"]
    assert outer.ended is not None
    assert (outer.ended.verdict, outer.ended.cause, done.ended.exit_code) == ("fail", "limit", 1)
    assert "ASSERT main.c:7" in outer.ended.message
    assert "fail" not in done.verdicts(), "the steps in it are not to blame"


def test_lines_count_also_when_a_step_in_it_fails() -> None:
    steps = STEPS.replace("lost_after: {max: 12 s}", "lost_after: {max: 10 ms}")
    done = ran(steps, FAULTY["at a write"])
    [outer] = [each for each in done.record.executions if each.planned.kind == "listen"]
    assert [r.name for r in outer.readings if r.judgement is not None and not r.judgement.passed] == ["console.line"]
    assert (done.ended.verdict, done.ended.cause) == ("fail", "limit")


COUNTS = "on_start: [{print: n=1}, {delay: 1 s, print: n=2}, {delay: 2 s, print: noise}, {delay: 3 s, print: n=9}]\nservices: []\n"
NUMBERS = "  - listen: {console: {matches: 'n=(?P<n>.*)'}}\n    steps: [wait: 4 s]\n    expect: {console.n: {rising: true, max: 10}, console.count: {equals: 3}}\n"


def test_what_a_pattern_finds_is_a_stream_too() -> None:
    done = ran(NUMBERS.replace("equals: 3", "min: 2, max: 3"), COUNTS)
    assert done.ended.exit_code == 0, done.ended.message
    for wrong, cause in (
        (COUNTS.replace("n=9", "n=2"), "limit"),
        (COUNTS.replace("n=9", "n=11"), "limit"),
        (COUNTS.replace("n=9", "n=x"), "device"),
    ):
        failed = ran(NUMBERS.replace("equals: 3", "min: 2, max: 3"), wrong)
        assert (failed.ended.verdict, failed.ended.cause) == ("fail", cause), failed.ended.message


SILENT = "  - listen: {console: }\n    steps: [wait: 1 s]\n    expect: {%s}\n"


@pytest.mark.parametrize(
    ("limits", "code"),
    [
        ("console.line: {lacks: ASSERT}", 0),
        ("console.line: {matches: 'ok.*'}", 1),
        ("console.line: {lacks: ASSERT, length: {max: 80}}", 1),
        ("console.count: {max: 0}", 0),
        ("console.count: {min: 1}", 1),
        ("console.rate: {max: 3 Hz}", 1),
    ],
)
def test_silence_is_no_line_that_satisfies_a_limit(limits: str, code: int) -> None:
    assert ran(SILENT % limits, "services: []\n").ended.exit_code == code


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_no_line_that_matches_is_none_that_breaks_a_limit(air: str) -> None:
    steps = SILENT.replace("console: ", "console: {matches: '(?P<what>ASSERT|panic).*'}")
    for limits in ("console.line: {lacks: ASSERT}", "console.what: {lacks: ASSERT}"):
        assert ran(steps % limits, "on_start: [{print: boot}]\nservices: []\n", air=air).ended.exit_code == 0
        faulty = ran(steps % limits, "on_start: [{delay: 500 ms, print: ASSERT 7}]\nservices: []\n", air=air)
        assert (faulty.ended.exit_code, faulty.ended.cause) == (1, "limit")


@pytest.mark.parametrize(("printed", "code"), [("", 1), ("boot\n", 0)])
def test_silence_of_a_wire_on_which_nothing_was_heard_proves_nothing(printed: str, code: int) -> None:
    """It may be unplugged, or have another speed."""

    def wire(radio: object) -> list[Beside]:
        console = Console("a wire")
        console.is_sure = False
        console.feed(printed.encode())
        return [Beside("the unit", console)]

    ended = ran(SILENT % "console.line: {lacks: ASSERT}", "services: []\n", beside=wire).ended
    assert ended.exit_code == code, ended.message
    if code:
        assert ended.cause == "limit"
        assert ended.message.startswith("no line of console arrived while its steps ran")


def test_a_wire_that_is_pulled_meanwhile_proves_nothing() -> None:
    consoles: list[Console] = []

    def wire(radio: object) -> list[Beside]:
        consoles.append(Console("a wire"))
        return [Beside("the unit", consoles[0])]

    def during(runner: object, event: object) -> None:
        if type(event).__name__ == "Opened":
            consoles[0].lose(StationError("the console is gone"))

    for steps in (
        SILENT % "console.line: {lacks: ASSERT}",
        "  - wait: 1 s\n" + SILENT.replace("wait: 1 s", "{name: later, wait: 1 s}") % "console.line: {lacks: ASSERT}",
    ):
        consoles.clear()
        ended = ran(steps, "services: []\n", beside=wire, during=during).ended
        assert (ended.verdict, ended.cause, ended.message) == ("error", "station", "the console is gone")


def test_a_reaction_may_be_a_line() -> None:
    device = DEVICE.replace("reboot: 2 s", "print: late")
    steps = (
        f"  - connect:\n  - listen: {{console: }}\n    steps:\n      - write: {OWN}\n        name: act\n        value: 2\n        format: {{as: uint8}}\n"
        "      - wait: 1 s\n    reactions: {answer: {after: act, until: {console.line: {contains: ok}}}}\n    expect: {answer: {max: %s}}\n"
    )
    assert ran(steps % "400 ms", device).ended.exit_code == 0
    late = ran(steps % "100 ms", device).ended
    assert (late.verdict, late.cause) == ("fail", "limit")


@pytest.mark.parametrize(
    ("listen", "message"),
    [
        ("{console: {counter: value}}", "'counter' goes with a characteristic, not with 'console'"),
        ("{battery level: {matches: x}}", "'matches' goes with the console, not with 'battery level'"),
        ("{console: {matches: '(?P<count>.*)'}}", "the group 'count' is called as a reading of the console"),
        ("{console: {matches: '('}}", "is not a regular expression"),
    ],
)
def test_mistakes(listen: str, message: str) -> None:
    with pytest.raises(PlanError, match=message):
        ran(f"  - connect:\n  - listen: {listen}\n    steps: [wait: 1 s]\n")


def test_a_station_without_a_console_ends_the_run_before_its_first_step() -> None:
    ended = run(f"{HEAD}steps:\n{SILENT % 'console.line: {lacks: x}'}", "others: [{count: 1}]\n").ended
    assert (ended.cause, ended.exit_code) == ("station", 7)
    assert "this station has no console for the unit" in ended.message


def test_a_console_is_not_asked_for_where_the_given_values_leave_it_out() -> None:
    given = "given: {bench: {default: radio alone}}\n"
    step = "  - console:\n    until: {line: {equals: ready}}\n    only_if: {bench: {equals: with a console}}\n"
    head = HEAD.replace("device:", f"{given}device:", 1)
    found = "  - scan:\n    expect: {count: {min: 0}}\n"
    ended = run(f"{head}steps:\n{found}{step}", "others: [{name: unit, count: 1}]\n").ended
    assert (ended.verdict, ended.exit_code) == ("pass", 0), ended.message
