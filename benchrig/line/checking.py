"""What is wrong with a station before a shift, as far as it can be known without its radios."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from benchrig.errors import BenchrigError
from benchrig.line.approving import Approvals, approvals_path, load_approvals
from benchrig.line.barcode import Match, Refusal, read
from benchrig.line.journal import NAME, read_line
from benchrig.line.places import is_simulated, results_of
from benchrig.line.plan_checks import Asked, Finding, mistakes, of_plan
from benchrig.line.proof import Place, ProofKind
from benchrig.line.shift import folded
from benchrig.source.problem import counted
from benchrig.station.station import Station
from benchrig.station.told import with_words
from benchrig.text.escape import plain

_PROOFS: dict[ProofKind, str] = {
    "only slot": "the only slot: a unit is proven by what it tells",
    "own radio": "a separate radio: a unit is proven by its level there, and by what it tells",
    "scan": "shares its radio: the label of a unit is scanned again when it is taken out",
}


@dataclass(frozen=True)
class Found:
    """A problem keeps units of `subject` ('product vfl3', 'reference golden', 'slot 2', 'station') from being tested; a note
    does not."""

    severity: Literal["problem", "note"]
    subject: str
    message: str
    advice: str = ""


@dataclass(frozen=True)
class Checked:
    found: tuple[Found, ...]
    proofs: dict[str, str]  # by slot: how a unit is proven to be in it
    approved: dict[str, str]  # by product or 'reference NAME': who approved its plan and when; '' for nobody

    @property
    def problems(self) -> list[Found]:
        return [each for each in self.found if each.severity == "problem"]


def checked(station: Station, path: Path) -> Checked:
    """Of the station in the file `path`. Its plans are loaded as a run loads them. PlanError for a damaged file of approvals,
    UsageError for events that cannot be read."""
    approvals = load_approvals(approvals_path(station, path))
    kinds = {slot: Place.of(station, slot).kind for slot in station.slot_names}
    found, approved = [*_of_station(station), *_of_memory(station)], dict[str, str]()
    for subject, asked in _asked(station):
        if isinstance(asked, Refusal):
            found.append(Found("problem", subject, asked.why, asked.do))
            continue
        findings, approved[subject] = _looked_at(station, path, approvals, asked, {*kinds.values()})
        found += [Found(each.severity, subject, each.message, each.advice) for each in findings]
    return Checked(tuple(_once(found)), {slot: _PROOFS[kind] for slot, kind in kinds.items()}, approved)


def _once(found: list[Found]) -> Iterator[Found]:
    """Two products with one plan have the same notes on it."""
    seen = set[str]()
    for each in found:
        if each.severity == "problem" or each.message not in seen:
            yield each
        seen.add(each.message)


def _asked(station: Station) -> Iterator[tuple[str, Asked | Refusal]]:
    """All that units are tested with."""
    for name in station.products:
        yield f"product {name}", Asked(name)
    for name, reference in station.references.items():
        match = read(station, reference.label)
        asked = Asked(match.product, name, match.values) if isinstance(match, Match) else match
        yield f"reference {name}", asked if isinstance(asked, Asked | Refusal) else _NO_UNIT


_NO_UNIT = Refusal("", "the label is that of no unit", "scan the label of the unit")


def _looked_at(
    station: Station, path: Path, approvals: Approvals, asked: Asked, kinds: set[ProofKind]
) -> tuple[list[Finding], str]:
    """What is wrong with what is tested with, and who has approved it."""
    try:
        return of_plan(station, path, approvals, asked, kinds)
    except BenchrigError as error:
        return mistakes(error), ""


# --- what the line remembers


def _of_memory(station: Station) -> Iterator[Found]:
    """What the next shift begins with."""
    path = results_of(station) / NAME
    kept = read_line(path)
    for said in kept.troubles(path):
        yield Found("note", "station", said, "keep the file: nothing in it is written over")
    state = folded(kept.events)
    if state.stopped:
        advice = "correct it, begin the shift, and clear the line with CLEAR and a badge"
        yield Found("note", "station", f"the line is stopped: {plain(state.stopped)}", advice)
    for test in (*state.open.values(), *state.uncleaned.values()):
        began = test.began
        message = f"{plain(began.unit)} was cut off in slot {plain(began.slot)}, and was not cleaned up"
        yield Found("note", f"slot {began.slot}", message, "let the next shift clean up, which offers it first")


# --- the station itself


def _of_station(station: Station) -> Iterator[Found]:
    if not station.products:
        yield Found("problem", "station", "the station has no products", "add products: with barcode and plan")
    for what, program in _programs(station):
        if shutil.which(program) is None:
            advice = "install it, or write its whole path"
            yield Found("problem", "station", f"the program of {what} is missing: {plain(program)}", advice)
    yield from _of_references(station)
    if station.people is None:
        yield Found("note", "station", "any text is taken for a badge", "add people: with the pattern of a badge")
    if is_simulated(station):
        yield Found("note", "station", "this is a rehearsal: no unit is judged for production")
    if station.rehearsal is not None:
        yield from _of_rehearsal(station, station.rehearsal.unit)


def _programs(station: Station) -> Iterator[tuple[str, str]]:
    if station.after_unit is not None:
        yield "after_unit", station.after_unit.command[0]
    for slot in station.slot_names:
        power = station.at_slot(slot).power
        if power is not None:
            yield f"power of slot {slot}", power.down[0]
            yield f"power of slot {slot}", power.up[0]


def _of_references(station: Station) -> Iterator[Found]:
    for is_bad, what in ((False, "golden unit"), (True, "known-bad unit")):
        if not any(bool(each.fails) == is_bad for each in station.references.values()):
            message = f"the station has no {what}: nothing shows during a shift that it judges rightly"
            yield Found("note", "station", message, "add one under references:")
    for name, each in station.references.items():
        if not each.fails and not each.limits:
            message = "the golden unit has no limit set: the station may drift by all that the plan allows"
            yield Found(
                "note", f"reference {name}", message, "add limits: with a limit set that is tighter than the plan"
            )


def _of_rehearsal(station: Station, unit: str) -> Iterator[Found]:
    """A reference whose simulated unit is missing keeps the rehearsal locked."""
    for name, reference in station.references.items():
        match = read(station, reference.label)
        if isinstance(match, Match):
            files = [Path(with_words(unit, {**match.values, "slot": slot})) for slot in station.slot_names]
            missing = [str(file) for file in dict.fromkeys(files) if not file.is_file()]
            if len(missing) == len({*files}):
                message = f"the file of the simulated unit is missing: {plain(missing[0])}"
                advice = f"make it ({counted(len(missing), 'file')}), or correct unit: under rehearsal"
                yield Found("problem", f"reference {name}", message, advice)
