"""What a plan may do at a station: what that forbids, what its radio cannot do, what it has no wires for."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from benchrig.errors import StationError
from benchrig.extensions import is_forbidden
from benchrig.plan.step_kinds import origin
from benchrig.plan.tree import StepPlan, place_text
from benchrig.radio.beside import Beside
from benchrig.station.station import Station
from benchrig.steps import Step


def forbidden(steps: Iterable[StepPlan], station: Station) -> Iterator[StepPlan]:
    """The steps that this station does not allow."""
    return (step for step in steps if step.kind.executes and _is_forbidden(step.kind, station))


def _is_forbidden(kind: type[Step], station: Station) -> bool:
    extension = origin(kind)
    return kind.verb in station.forbid if extension is None else is_forbidden(extension.package, station.forbid)


def check_allowed(steps: Iterable[StepPlan], station: Station) -> None:
    """See that the station allows every step, before anything is opened. StationError."""
    for step in forbidden(steps, station):
        raise StationError(
            f"this station forbids {step.kind.verb} steps: '{step.name}' ({place_text(step.place)})",
            advice="take it out of the plan, or allow it in the station file",
        )


def check_possible(steps: Iterable[StepPlan], cannot: Mapping[str, str]) -> None:
    """See that the radio can do every step: also one without a limit must not pass where nothing was done.
    StationError."""
    for step in steps:
        if why := cannot.get(step.kind.verb):
            raise StationError(
                f"this radio cannot do {step.kind.verb} steps: {why}: '{step.name}' ({place_text(step.place)})",
                advice="test this on another radio, or leave the step out with --only",
            )


def unwired(steps: Iterable[StepPlan], station: Station) -> Iterator[tuple[StepPlan, str]]:
    """The steps that need something beside the radio which the station file does not name, and what."""
    named = {"console": station.console, "power": station.power}
    return ((step, wire) for step, wire in _wires(steps) if named[wire] is None)


def check_wired(steps: Iterable[StepPlan], beside: Collection[Beside]) -> None:
    """See that there is a console where a step needs one, and a switch. StationError."""
    there = {"console": any(one.console for one in beside), "power": any(one.power for one in beside)}
    for step, wire in _wires(steps):
        if not there[wire]:
            raise StationError(
                f"this station has no {wire} for the unit: '{step.name}' ({place_text(step.place)})",
                advice=NO_WIRE[wire],
            )


def _wires(steps: Iterable[StepPlan]) -> Iterator[tuple[StepPlan, str]]:
    return ((step, wire) for step in steps for wire in step.kind.wires(step.node))


NO_WIRE = {
    "console": "name it with --console, or with console: in the station file",
    "power": "name the commands that switch it with power: in the station file",
}
