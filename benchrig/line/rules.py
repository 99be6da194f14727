"""What a line may do: which unit is tested, when the line stops, which checks of the station are due, what they show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal, TypeAlias

from benchrig.line.barcode import Match
from benchrig.line.events import ReferenceChecked, Word
from benchrig.line.shift import KnownUnit, Result, ShiftState
from benchrig.record.line_part import Purpose
from benchrig.record.model import Record
from benchrig.source.problem import counted
from benchrig.station.checks import Reference
from benchrig.station.rules import Retests, Stops
from benchrig.station.station import Station
from benchrig.text.escape import plain

Asked: TypeAlias = Literal["", "RETEST", "REPAIRED"]
# A line that was closed without the end of its shift goes on with it for so long.
SHIFT_HOURS = 12
# A clock that follows a server is set back by less than this.
_SET_BACK = timedelta(seconds=5)
_BAD = "put the unit to the bad ones"
# A label alone does not say that it is the same unit.
_TWICE = "put the unit aside if it is another one: two have this label; if it was repaired since, scan REPAIRED first"


@dataclass(frozen=True)
class Allowed:
    """The unit may be tested: as what, after which first run, as which test of it. `note` is for the operator; `after` is what
    its last test came to, '' for the first one."""

    purpose: Purpose = "unit"
    first: str = ""
    again: int = 0
    note: str = ""
    after: Word | Literal[""] = ""


@dataclass(frozen=True)
class NotAllowed:
    why: str
    do: str = ""


@dataclass(frozen=True)
class Due:
    """A check of the station: in `slot`, or in any one for ''."""

    name: str
    slot: str
    why: str
    do: str


# --- which unit is tested


def may_be_tested(
    state: ShiftState, station: Station, match: Match, now: datetime, asked: Asked = ""
) -> Allowed | NotAllowed:
    """Whether the unit of this label may be tested now, `asked` with the word that was scanned before it. Times are told in the
    zone of `now`."""
    if (test := state.testing(match.product, match.unit)) is not None:
        return NotAllowed(f"{match.unit} is being tested in slot {test.began.slot}", "wait for its verdict")
    if match.reference:
        return Allowed("known bad" if station.references[match.reference].fails else "golden")
    known = state.known(match.product, match.unit)
    if known is None:
        return Allowed(note=_as_another(state, station, match, now))
    if asked == "REPAIRED":
        note = f"repaired, test {known.tests + 1} of this unit"
        return Allowed("repaired", known.first.run_id, known.tests, note, known.last.word)
    before = f"{match.unit} {_told(known.last, now)}"
    if known.last.word == "PASS":
        return NotAllowed(before, _TWICE)
    return _retest(known, station.retest, before, asked)


def _as_another(state: ShiftState, station: Station, match: Match, now: datetime) -> str:
    """A unit with another label than before is another product: somebody may have meant to hide a failure."""
    others = [name for name in station.products if name != match.product] if match.serial else []
    told = [
        f"{match.serial} {_told(known.last, now)}, as '{plain(name)}'"
        for name in others
        if (known := state.known(name, match.unit)) is not None
    ]
    return "; ".join(told)


def _retest(known: KnownUnit, rule: Retests, before: str, asked: Asked) -> Allowed | NotAllowed:
    """Of a unit that failed."""
    used = known.retests
    if known.last.cause not in rule.causes or rule.most == 0:
        after = f", and units are not tested again after a failure of cause {known.last.cause}"
        return NotAllowed(before + (after if asked else ""), f"{_BAD}; once it was repaired, scan REPAIRED first")
    if used >= rule.most:
        return NotAllowed(
            f"{before}, and its {counted(rule.most, 'retest')} {'is' if rule.most == 1 else 'are'} used up",
            f"{_BAD}; once it was repaired, scan REPAIRED first",
        )
    which = f"retest {used + 1} of {rule.most}"
    if asked != "RETEST":
        return NotAllowed(
            before, f"scan RETEST and then its label ({which}); once it was repaired, scan REPAIRED first"
        )
    return Allowed("retest", known.first.run_id, known.tests, which, known.last.word)


def _told(result: Result, now: datetime) -> str:
    """'passed today at 14:03', 'failed on 2026-11-26 at 14:03 in 'read battery level' (limit)'."""
    at = result.at.astimezone(now.tzinfo)
    day = "today" if at.date() == now.date() else f"on {at:%Y-%m-%d}"
    word = "passed" if result.word == "PASS" else "failed"
    where = f" in '{plain(result.step)}'" if result.step else ""
    cause = f" ({result.cause})" if result.cause else ""
    return f"{word} {day} at {at:%H:%M}{where}{cause}"


# --- when the line stops


def stop_now(state: ShiftState, stops: Stops) -> str:
    """Why the line has to stop, in one sentence; '' where it has not."""
    if state.station_errors >= stops.station_errors:
        last = next((test.ended.message for test in state.last if test.ended.of_the_station), "")
        told = f": {plain(last)}" if last else ""
        return f"{counted(state.station_errors, 'error')} of the station, one after the other{told}"
    if state.untold >= stops.station_errors:
        return f"the command after a unit failed {state.untold} times, one after the other"
    for (product, step, reading), units in state.alike.values():
        if len(units) >= stops.equal_failures:
            at = f"'{plain(step)}'" if step else "in no step of the plan"
            at += f", reading {plain(reading)}" if reading else ""
            return f"{counted(len(units), 'unit')} of the product '{plain(product)}' failed alike, one after the other: {at}"
    return ""


# --- checks of the station


def due(state: ShiftState, station: Station, now: datetime) -> list[Due]:
    """The checks of the station without which no unit is tested now."""
    return [
        Due(name, slot, why, f"put '{plain(name)}' into {f'slot {slot}' if slot else 'a slot'}, and scan its label")
        for name, reference in station.references.items()
        for slot in (station.slot_names if reference.slots == "every" else [""])
        if (why := _why_due(reference, _last_check(state, station, name, slot), now))
    ]


def _last_check(state: ShiftState, station: Station, name: str, slot: str) -> ReferenceChecked | None:
    """In this slot, or of those in any slot the newest one."""
    slots = [slot] if slot else station.slot_names
    checks = [check for each in slots if (check := state.checked.get((name, each))) is not None]
    return max(checks, key=lambda check: check.at, default=None)


def _why_due(reference: Reference, last: ReferenceChecked | None, now: datetime) -> str:
    if last is None:
        return "not checked yet in this shift"
    if not last.ok:
        return f"the last check failed: {last.why}"
    if now < last.at:
        return "the clock of this computer was set back"
    if reference.every is not None and (now - last.at).total_seconds() >= reference.every.seconds:
        return f"the last check was {reference.every} ago, or longer"
    return ""


def shown(reference: Reference, record: Record | None) -> str:
    """What is wrong with the check of the station that this run was; '' when the reference did what it must."""
    if record is None or record.ended is None:
        return "the unit was not tested to the end"
    if record.run.left_out:
        return f"{counted(record.run.left_out, 'step')} of the plan {'was' if record.run.left_out == 1 else 'were'} left out"
    return "; ".join(_bad_shows(reference, record) if reference.fails else _golden_shows(reference, record))


def _golden_shows(reference: Reference, record: Record) -> Iterator[str]:
    if record.verdict != "pass":
        yield f"expected that the golden unit passes, found: {plain(record.message)}"
    used = record.run.limit_set
    if reference.limits and (used is None or Path(used.file) != Path(reference.limits)):
        yield f"the golden unit was tested without its limit set {plain(reference.limits)}"


def _bad_shows(reference: Reference, record: Record) -> Iterator[str]:
    """It fails there by its own fault, which a unit that is not in the slot does not."""
    expected = f"expected that the known-bad unit fails in '{plain(reference.fails)}'"
    if record.verdict != "fail":
        told = "" if record.verdict == "pass" else f" ({plain(record.message)})"
        yield f"{expected}, found the verdict {record.verdict}{told}"
        return
    if record.cause not in ("limit", "device"):
        yield f"{expected} by limit or device, found the cause {record.cause}: {plain(record.message)}"
    if reference.fails not in (step := failed_in(record)):
        where = f"'{plain(step[0])}'" if step else "no step"
        yield f"{expected}, found a failure in {where}: {plain(record.message)}"


def failed_in(record: Record) -> tuple[str, ...]:
    """What the step that decided is called: its name, as the plan has it, and its id. Nothing for a run that no step decided."""
    root = record.ended.root if record.ended else None
    found = [each.planned for each in record.executions if root is not None and each.planned.id == root.node]
    return tuple(filter(None, (found[0].name, found[0].written, found[0].id))) if found else ()


# --- shifts and the clock


def continues(state: ShiftState, person: str, now: datetime, *, simulated: bool, station_hash: str) -> bool:
    """Whether the shift that was open is still that of this person: after a power cut, not half a day later, and not with
    another station file, by which nothing was checked yet."""
    if not state.shift or state.latest is None:
        return False
    if (person, simulated, station_hash) != (state.person, state.simulated, state.station_hash):
        return False
    return timedelta(0) <= now - state.latest < timedelta(hours=SHIFT_HOURS)


def clock_was_set_back(state: ShiftState, now: datetime) -> bool:
    """Whether the last event lies in the future."""
    return state.latest is not None and now < state.latest - _SET_BACK
