"""Which runs were of one unit."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import ColumnElement, Connection, false, or_, select, true

from benchrig.history.questions.rows import raw_rows
from benchrig.history.questions.runs import RunRow, rows_of
from benchrig.history.tables import devices, runs

_AT_ONCE = 1000


def units_of(connection: Connection, found: Sequence[RunRow]) -> tuple[list[str], int]:
    """The unit of each run, and for how many runs an address told it.

    A unit that failed before its serial number was read is known by its address alone: where the history has one serial
    number with that address, and only one, the run is taken for that unit's. A run in which the unit told nothing is taken
    for a unit of its own, unless it was at a line, and another run of this unit there had a serial number."""
    nameless = {run.address for run in found if _has_only_address(run)}
    serials = serials_at(connection, sorted(nameless), simulated=any(run.simulated for run in found))
    named = [_unit(run, serials) for run in found]
    by_address = sum(name != run.unit and bool(run.unit) for name, run in zip(named, found, strict=True))
    tied = _tied(connection, found)
    return [tied.get(run.run_id, name) for name, run in zip(named, found, strict=True)], by_address


def _tied(connection: Connection, found: Sequence[RunRow]) -> dict[str, str]:
    """By run id the unit of those runs that have no serial number, where a line ties them to others of the same unit: to the
    first run of it, to those that name it as theirs. In the whole history, so that a unit has one name in every question."""
    known: dict[str, str] = {}
    firsts = sorted({run.first_run or run.run_id for run in found if run.purpose and _is_weak(run)})
    for at in range(0, len(firsts), _AT_ONCE):
        asked = firsts[at : at + _AT_ONCE]
        together: dict[str, list[RunRow]] = {}
        for run in rows_of(connection, or_(runs.c.run_id.in_(asked), runs.c.first_run.in_(asked))):
            together.setdefault(run.first_run or run.run_id, []).append(run)
        for tied in (each for each in together.values() if len(each) > 1):
            strong = next((run.unit for run in tied if not _is_weak(run)), "") or _told_by(connection, tied)
            known |= {run.run_id: strong for run in tied if _is_weak(run)}
    return known


def _told_by(connection: Connection, weak: Sequence[RunRow]) -> str:
    """The unit of runs none of which has a serial number: that of the first one which was heard at all."""
    heard = next((run for run in weak if run.address), weak[0])
    return _unit(heard, serials_at(connection, [heard.address], simulated=heard.simulated))


def _is_weak(run: RunRow) -> bool:
    """Whether nothing but an address, or not even that, says which unit it is."""
    return not (run.serial or run.given_serial)


def _has_only_address(run: RunRow) -> bool:
    return bool(run.address) and run.unit == run.address


def _unit(run: RunRow, serials: dict[str, str]) -> str:
    if not run.unit:
        return unknown_unit(run)
    return serials.get(run.address, run.unit) if _has_only_address(run) else run.unit


def unknown_unit(run: RunRow) -> str:
    """What a unit is called that told nothing."""
    return f"unknown unit of run {run.run_id}"


def serials_at(connection: Connection, addresses: Sequence[str], *, simulated: bool) -> dict[str, str]:
    """By address the serial number that the history knows with it, where it knows one alone."""
    found: dict[str, set[str]] = {}
    for at in range(0, len(addresses), _AT_ONCE):
        asked = addresses[at : at + _AT_ONCE]
        known = select(runs.c.address, runs.c.unit).where(
            at_address(asked), runs.c.unit != runs.c.address, runs.c.simulated.is_(true() if simulated else false())
        )
        for address, unit in raw_rows(connection, known.distinct()):
            found.setdefault(address, set()).add(unit)
    return {address: min(units) for address, units in found.items() if len(units) == 1}


def at_address(addresses: Sequence[str]) -> ColumnElement[bool]:
    """The runs whose unit has one of these addresses: by the devices, which have an index."""
    return runs.c.run.in_(select(devices.c.run).where(devices.c.address.in_(addresses), devices.c.n == 0))
