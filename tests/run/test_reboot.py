"""A restart as one step: the unit goes, comes back, and is the same one."""

from __future__ import annotations

from typing import Any

import pytest

from benchrig.errors import StationError
from benchrig.record.events import AnyEvent, Opened, Where
from benchrig.run.runner import Runner
from tests.plan.building import problems_of
from tests.run.kit import Ran, device_text, plan_text, run
from tests.run.test_losses import NAMES, unit

LIMITS = "{lost_after: {max: 2 s}, lost_reason: {equals: connection timeout}, advertises_after: {min: 500 ms, max: 6 s}, connected_after: {max: 8 s}, elapsed: {max: 9 s}}"
TRIGGER = "{write: restart, value: 1}"


def reboot(steps: str = TRIGGER, limits: str = LIMITS, within: str = "10 s") -> str:
    return f"  - reboot:\n    within: {within}\n    steps:\n      - {steps}\n    expect: {limits}\n"


READ = "  - {read: state, expect: {value: {equals: 7}}}\n"


def went(steps: str, *devices: str, **more: Any) -> Ran:
    return run(plan_text(steps, attributes=NAMES), *devices, **more)


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_a_unit_that_restarts(air: str) -> None:
    ran = went(reboot() + READ, unit("reboot: 3 s"), air=air)
    assert ran.ended.exit_code == 0, ran.ended.message
    step = ran.record.executions[2]
    found = {reading.name: reading.value for reading in step.readings}
    assert found["lost_after"] + found["connected_after"] == pytest.approx(found["elapsed"], abs=1e-3)
    assert (ran.tasks_left, ran.stray, ran.ended.judged) == (0, [], 6)


def test_what_a_step_in_it_measures_is_judged_there() -> None:
    steps = "{wait: 10 ms, name: calm}\n      - " + TRIGGER
    limits = [LIMITS.replace("{lost", f"{{calm.elapsed: {{max: {most}}}, lost", 1) for most in ("1 s", "1 ms")]
    ended = [went(reboot(steps, each), unit("reboot: 3 s")).ended for each in limits]
    assert [(each.exit_code, each.judged) for each in ended] == [(0, 6), (1, 6)]


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("device", "message", "cause", "root", "after"),
    [
        (unit("delay: 1 ms"), "the unit has not restarted", "limit", "3", "pass"),
        (unit("att_error: 0x80"), "application error 0x80", "device", "3.1", "pass"),
        (unit("silent: true"), "did not answer", "device", "3.1", "skip"),
        (unit("reboot: 60 s"), "was not heard", "link", "3", "skip"),
        (unit("disconnect: true"), "below the minimum 0.5 s", "limit", "3", "pass"),
        (unit("reboot: 9 s"), "above the maximum 6 s", "limit", "3", "pass"),
    ],
)  # fmt: skip
def test_a_unit_that_does_not(device: str, message: str, cause: str, root: str, after: str, air: str) -> None:
    ran = went(reboot(within="12 s") + READ, device, air=air)
    assert (ran.ended.cause, ran.ended.exit_code, ran.ended.root) == (cause, 1, Where(root)), ran.ended
    assert message in ran.ended.message
    read = ran.step("read state").ended
    assert (read.verdict, read.root) == (after, None if after == "pass" else Where("3" if root == "3" else "3.1"))


def test_a_unit_that_restarts_twice_fails_what_comes_next() -> None:
    ran = went(reboot() + "  - wait: 3 s\n", unit("reboot: 3 s", faults="disconnect_after: 2 s"))
    assert (ran.ended.cause, ran.ended.root) == ("link", Where("4"))


def test_another_one_in_its_place_is_not_blamed() -> None:
    near = plan_text(reboot(limits="{elapsed: {max: 9 s}}") + READ, attributes=NAMES).replace(
        "'unit*'}", "'unit*', nearest: 6 dB}"
    )
    other = device_text(name="unit 2", address="C4:00:00:00:00:02", more="rssi: {mean: -80 dBm}")
    ran = run(near, unit("reboot: 60 s").replace("advertising", "rssi: {mean: -40 dBm}\nadvertising"), other)
    assert (ran.ended.cause, ran.ended.exit_code, "C4:00:00:00:00:02" in ran.ended.message) == ("station", 7, True)


def test_a_link_that_the_radio_lost_is_no_restart() -> None:
    def during(runner: Runner, event: AnyEvent) -> None:
        async def trouble() -> StationError:
            return StationError("the controller is gone")

        if isinstance(event, Opened) and event.where.node == "3.1":
            runner._devices[""].radio.trouble = trouble  # type: ignore[method-assign]

    ran = went(reboot(), unit("reboot: 3 s"), during=during)
    assert (ran.ended.cause, ran.ended.exit_code) == ("station", 7)


def test_it_ends_with_any_step_in_which_a_link_can_end() -> None:
    device = unit("reboot: 3 s", faults="disconnect_after: 2 s")
    for last in (
        "{wait: 1 s}",
        "{wait: 5 s}",
        "{command: ['true']}",
        "{write: restart, value: 1, expect: {lost_after: {max: 2 s}}}",
    ):
        assert went(reboot(last, "{lost_after: {max: 4 s}}") + READ, device).ended.exit_code == 0, last


@pytest.mark.parametrize(
    ("steps", "message"),
    [
        (reboot("{read: state}"), "'read state' comes last in 'reboot', but a link cannot end in it"),
        (reboot("{write: restart, value: 1, read_back: true}"), "comes last in 'reboot'"),
        (reboot("{disconnect: }\n      - {wait: 1 s}"), "in 'reboot' the unit itself ends the link"),
        ("  - disconnect:\n" + reboot(), "'reboot' needs a connection"),
        (reboot() + "  - connect:\n    name: again\n", "'again' runs while the unit is connected already"),
        (reboot(limits="{lost: {max: 1}}"), "has no reading 'lost'"),
    ],
)
def test_what_cannot_be_is_told_before(steps: str, message: str) -> None:
    assert message in "\n".join(map(str, problems_of(plan_text(steps, attributes=NAMES))))
