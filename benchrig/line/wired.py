"""Steps on the wires of a slot, in slots that share a radio: nothing there proves that the unit of the run is in that slot, so
power or console would be another unit's."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.errors import BenchrigError, UsageError
from benchrig.line.loading import HERE
from benchrig.line.plans import PlanFiles, files_of, load
from benchrig.line.proof import Place, ProofKind
from benchrig.plan.model import Plan
from benchrig.plan.tree import place_text
from benchrig.station.station import Station
from benchrig.text.escape import plain

ADVICE = "give each of these slots a separate radio, or take the step out of the plan"


def shared_slots(station: Station) -> list[str]:
    return [slot for slot in station.slot_names if Place.of(station, slot).kind == "scan"]


def on_wires(plan: Plan) -> Iterator[str]:
    """Each step on a wire of its slot, and why it cannot be in slots that share a radio."""
    for step in plan.steps:
        for wire in sorted(step.kind.wires(step.node)):
            yield (
                f"{place_text(step.place)}: '{plain(step.name)}' works on the {wire} of a slot, and in slots that share a radio "
                "nothing proves that the unit is in that slot"
            )


def check_wires(plan: Plan, kind: ProofKind) -> None:
    """UsageError for a plan that may not be run in a slot of this kind."""
    if kind == "scan" and (why := next(on_wires(plan), "")):
        raise UsageError(why, advice=ADVICE)


def troubles(station: Station) -> list[str]:
    """At the begin of a shift. What else is wrong with a plan is said when a unit is to be tested with it."""
    slots = shared_slots(station)
    found = [why for files in files_of(station) for why in _of(station, files)] if slots else []
    return [f"slots {', '.join(slots)}: {why}: {ADVICE}" for why in dict.fromkeys(found)]


def _of(station: Station, files: PlanFiles) -> list[str]:
    try:
        return [*on_wires(load(station, HERE, files, None))]
    except BenchrigError:
        return []
