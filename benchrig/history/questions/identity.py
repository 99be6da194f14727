"""Which runs were of one unit."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import ColumnElement, Connection, false, select, true

from benchrig.history.questions.rows import raw_rows
from benchrig.history.questions.runs import RunRow
from benchrig.history.tables import devices, runs

_AT_ONCE = 1000


def units_of(connection: Connection, found: Sequence[RunRow]) -> tuple[list[str], int]:
    """The unit of each run, and for how many runs an address told it.

    A unit that failed before its serial number was read is known by its address alone: where the history has one serial
    number with that address, and only one, the run is taken for that unit's. A run in which the unit told nothing is taken
    for a unit of its own."""
    nameless = {run.address for run in found if _has_only_address(run)}
    serials = serials_at(connection, sorted(nameless), simulated=any(run.simulated for run in found))
    named = [_unit(run, serials) for run in found]
    return named, sum(name != run.unit and bool(run.unit) for name, run in zip(named, found, strict=True))


def _has_only_address(run: RunRow) -> bool:
    return bool(run.address) and run.unit == run.address


def _unit(run: RunRow, serials: dict[str, str]) -> str:
    if not run.unit:
        return f"unknown unit of run {run.run_id}"
    return serials.get(run.address, run.unit) if _has_only_address(run) else run.unit


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
