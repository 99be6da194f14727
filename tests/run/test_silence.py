"""A unit that falls silent, and one that comes back: limits on `heard` and `advertises_after`, and waiting for what it
advertises."""

from __future__ import annotations

from typing import Any

import pytest

from benchrig.errors import StationError
from benchrig.record.events import AnyEvent, Opened
from benchrig.run.runner import Runner
from tests.plan.building import problems_of
from tests.run.kit import HEAD, Ran, device_text, plan_text, run
from tests.run.test_losses import AGAIN, NAMES, WRITE, unit

GONE = "  - scan:\n    name: gone\n    for: 2 s\n    expect: {heard: {equals: false}}\n"
BACK = "  - connect:\n    name: back\n    within: 12 s\n    expect: {advertises_after: {min: 1 s, max: 6 s}}\n"
SLEEPS = "  - disconnect:\n  - wait: 4 s\n" + GONE
THERE = "  - scan:\n    name: there\n    within: 6 s\n    expect: {heard: {equals: true}, advertises_after: {min: 1 s, max: 6 s}}\n"
OFF = "stop_advertising_after: 4 s"


def went(steps: str, *devices: str, **more: Any) -> Ran:
    return run(plan_text(steps, attributes=NAMES), *devices, **more)


def other(address: str = "C4:00:00:00:00:02", more: str = "") -> str:
    return device_text(name="unit 2", address=address, more=more)


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("steps", "sound", "faulty", "step", "message"),
    [
        (SLEEPS, unit(faults=OFF), unit(), "gone", "true is not false"),
        (WRITE + GONE + BACK, unit("reboot: 5 s"), unit("reboot: 2 s"), "gone", "true is not false"),
        (WRITE + BACK, unit("reboot: 4 s"), unit("disconnect: true"), "back", "below the minimum 1 s"),
        (WRITE + BACK, unit("reboot: 4 s"), unit("reboot: 10 s"), "back", "above the maximum 6 s"),
        (WRITE + THERE + AGAIN, unit("reboot: 4 s"), unit("reboot: 60 s"), "there", "false is not true"),
    ],
)  # fmt: skip
def test_silence_and_return(steps: str, sound: str, faulty: str, step: str, message: str, air: str) -> None:
    passed = went(steps, sound, air=air)
    assert passed.ended.exit_code == 0, passed.ended.message
    ran = went(steps, faulty, air=air)
    assert (ran.ended.cause, ran.ended.exit_code) == ("limit", 1), ran.ended
    assert (ran.step(ran.ended.root.node).planned.name, message in ran.ended.message) == (step, True)
    assert (ran.tasks_left, ran.stray) == (0, [])


def test_a_unit_that_does_not_come_back_is_a_matter_of_the_link() -> None:
    ran = went(WRITE + BACK, unit("reboot: 600 s"))
    assert (ran.ended.cause, "was not heard in 12 s" in ran.ended.message) == ("link", True)


def test_the_unit_is_still_known_after_its_silence() -> None:
    """The one that fits as well is not connected to."""
    ran = went(WRITE + GONE + AGAIN, unit("reboot: 6 s"), other())
    assert ran.ended.cause == "station", "two fit the first scan"
    ran = run(
        plan_text(WRITE + GONE + AGAIN, attributes=NAMES).replace("'unit*'", "unit 1"), unit("reboot: 6 s"), other()
    )
    assert ran.ended.exit_code == 0, ran.ended.message
    assert {seen.address for seen in ran.record.sightings if seen.address} == {"C4:00:00:00:00:01"}


def test_what_nobody_listened_to_is_not_judged() -> None:
    ran = went(WRITE + "  - wait: 1 s\n" + BACK, unit("reboot: 4 s"))
    assert (ran.ended.exit_code, "nobody listened for 1 s" in ran.ended.message) == (5, True)


def test_a_longer_interval_than_the_silence_proves_nothing() -> None:
    slow = unit(faults=OFF).replace("interval: 20 ms", "interval: 600 ms")
    steps = "  - disconnect:\n  - scan:\n    for: 3 s\n  - wait: 3 s\n" + GONE
    ran = went(steps, slow)
    assert (ran.ended.exit_code, "prove nothing" in ran.ended.message) == (5, True)
    assert went(steps.replace("for: 2 s", "for: 4 s"), slow).ended.exit_code == 0


def test_a_radio_that_fell_silent_itself_is_the_stations() -> None:
    def during(runner: Runner, event: AnyEvent) -> None:
        async def trouble() -> StationError:
            return StationError("the controller is gone")

        if isinstance(event, Opened) and event.where.node == "5":
            runner._devices[""].radio.trouble = trouble  # type: ignore[method-assign]

    ran = went(SLEEPS, unit(faults=OFF), during=during)
    assert (ran.ended.cause, ran.ended.exit_code) == ("station", 7)


@pytest.mark.parametrize(
    ("steps", "message"),
    [
        ("steps:\n" + GONE, "proves nothing: no step before it has heard the unit"),
        ("steps:\n  - scan:\n" + GONE.replace("    for", "    swap: true\n    for"), "its silence proves nothing"),
        (
            "steps:\n  - scan:\n" + GONE.replace("false}}", "false}, rssi: {min: -90 dBm}}"),
            "a unit that is silent has no rssi",
        ),
        (
            "steps:\n  - scan:\n" + GONE + "    until: {name: {equals: x}}\n",
            "a unit that is silent has no reached_after",
        ),
        ("steps:\n  - scan:\n" + BACK, "asks for advertises_after, but no step before it ends a link"),
        ("steps:\n  - scan:\n    until: {count: {min: 3}}\n", "has no reading 'count'"),
        ("steps:\n  - scan:\n    expect: {reached_after: {max: 3 s}}\n", "'reached_after' needs an until"),
    ],
)
def test_what_cannot_be_is_told_before(steps: str, message: str) -> None:
    assert message in "\n".join(map(str, problems_of(HEAD + steps)))


# --- until


def until(limits: str, more: str = "") -> str:
    return f"{HEAD}steps:\n  - scan:\n    within: 8 s\n    until: {{{limits}}}\n{more}"


STILL = """
device: unit 1
address: 'C4:00:00:00:00:01'
advertising:
  interval: 50 ms
  data: {flags: 0x06, name: unit 1, services: [battery]}
  scan_response: {manufacturer: {company: 0xFFFF, data: '01'}}
"""


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_until_it_advertises_this(air: str) -> None:
    met = "manufacturer_data: {equals: 'FF FF 01'}, services: {contains: battery}, rssi: {min: -90 dBm}"
    ran = run(until(met, "    expect: {reached_after: {max: 5 s}, count: {min: 10}}\n"), STILL, air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert ran.reading("1", "reached_after").value < 5
    ran = run(until("manufacturer_data: {equals: 'FF FF 02'}"), STILL, air=air)
    assert (ran.ended.cause, ran.ended.exit_code, ran.ended.judged) == ("limit", 1, 1)
    expected = "not reached: expected manufacturer_data equals FF FF 02; found FF FF 01 after 8 s"
    assert expected in ran.ended.message


def test_until_of_a_unit_that_is_not_heard_is_a_matter_of_the_link() -> None:
    ran = run(until("name: {equals: unit 1}"), device_text(name="thing"))
    assert (ran.ended.cause, ran.ended.exit_code) == ("link", 1)
