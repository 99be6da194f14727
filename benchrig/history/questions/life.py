"""One unit's whole life: every run in which it, or its label, had this name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Literal, TypeAlias

import msgspec
from sqlalchemy import ColumnElement, Connection, and_, select

from benchrig.errors import UsageError
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters, check_words, condition
from benchrig.history.questions.identity import at_address, serials_at
from benchrig.history.questions.rows import raw_rows
from benchrig.history.questions.runs import RunRow, in_order, rows_of
from benchrig.history.tables import bounds, channels, devices, readings, runs

FoundBy: TypeAlias = Literal["serial number", "given serial number", "address", "address alone"]


class Seen(msgspec.Struct, frozen=True):
    """What a device of a run told, and was given, of who it is. `device` is its key in a plan with several."""

    run_id: str
    device: str
    serial: str
    given_serial: str
    address: str

    @property
    def disagrees(self) -> bool:
        """Whether label and link name different units."""
        return bool(self.serial and self.given_serial and self.serial != self.given_serial)


class Told(msgspec.Struct, frozen=True):
    """A judged reading of a run. `value` is a number or a text."""

    run_id: str
    step: str
    reading: str
    value: float | str | None
    measure: str
    low: float | None
    high: float | None
    passed: bool


class LifeRun(msgspec.Struct, frozen=True):
    """A run of the unit's life, with what found it: the name that was asked for, or, for a run that ended before a serial
    number was read, an address that is the unit's alone."""

    run: RunRow
    found_by: FoundBy
    seen: Seen
    readings: list[Told] = []


class Life(msgspec.Struct, frozen=True):
    """In the order of the runs. Each list holds what was seen, once, in the order in which it appeared."""

    name: str
    simulated: bool
    runs: list[LifeRun]
    serials: list[str]
    given_serials: list[str]
    addresses: list[str]
    firmware: list[str]
    stations: list[str]
    plans: list[str]

    @property
    def disagreements(self) -> list[Seen]:
        return [each.seen for each in self.runs if each.seen.disagrees]


def life_of(history: History, name: str, *, simulated: bool = False, with_readings: bool = False) -> Life:
    """UsageError where no run knows the name."""
    with history.reading() as connection:
        filters = Filters(unit=(name,), simulated=simulated)
        _check(connection, filters)
        named = condition(filters)
        found = {run.run_id: run for run in rows_of(connection, named)}
        seen = {each.run_id: each for each in _seen(connection, named) if _by(each, name)}
        nameless = _nameless(connection, seen.values(), simulated=simulated)
        found |= {run.run_id: run for run in nameless}
        told = _told(connection, [*found]) if with_readings else {}
        return _life(name, simulated, [_of(run, seen, name, told) for run in in_order(found.values())])


def _check(connection: Connection, filters: Filters) -> None:
    try:
        check_words(connection, filters)
    except UsageError as error:
        other = Filters(unit=filters.unit, simulated=not filters.simulated)
        if connection.execute(select(runs.c.run).where(condition(other)).limit(1)).first() is None:
            raise
        kind, advice = ("simulated", "add --simulated") if other.simulated else ("real", "leave --simulated out")
        raise UsageError(f"{error.message}, but {kind} runs have it", advice=advice) from error


def _seen(connection: Connection, which: ColumnElement[bool]) -> list[Seen]:
    """The devices of the runs, the first of a run last: it is the one that counts where several fit."""
    columns = runs.c.run_id, devices.c.device, devices.c.serial, devices.c.given_serial, devices.c.address, devices.c.n
    question = select(*columns).join(devices, devices.c.run == runs.c.run).where(which)
    rows = sorted(raw_rows(connection, question), key=lambda row: (row[0], -row[-1]))
    return [Seen(*row[:-1]) for row in rows]


def _by(seen: Seen, name: str) -> FoundBy | None:
    if seen.serial == name:
        return "serial number"
    if seen.given_serial == name:
        return "given serial number"
    return "address" if seen.address and seen.address in (name, name.upper()) else None


def _nameless(connection: Connection, seen: Iterable[Seen], *, simulated: bool) -> list[RunRow]:
    """The runs that have an address alone, which the history knows as this unit's and as no other's."""
    own = {each.address: each.serial for each in seen if each.serial and each.address}
    known = serials_at(connection, sorted(own), simulated=simulated)
    addresses = [address for address, serial in own.items() if known.get(address) == serial]
    alone = and_(at_address(addresses), runs.c.unit == runs.c.address, condition(Filters(simulated=simulated)))
    return rows_of(connection, alone) if addresses else []


def _of(run: RunRow, seen: dict[str, Seen], name: str, told: dict[str, list[Told]]) -> LifeRun:
    who = seen.get(run.run_id) or Seen(run.run_id, "", run.serial, run.given_serial, run.address)
    return LifeRun(run, _by(who, name) or "address alone", who, told.get(run.run_id, []))


def _told(connection: Connection, ids: Sequence[str]) -> dict[str, list[Told]]:
    """The readings of each run, in the order of its record."""
    columns = (
        runs.c.run_id, readings.c.n, channels.c.step, channels.c.reading, readings.c.value, readings.c.text,
        channels.c.measure, bounds.c.low, bounds.c.high, readings.c.passed,
    )  # fmt: skip
    question: Any = select(*columns).join(runs, runs.c.run == readings.c.run)
    question = question.join(channels, channels.c.channel == readings.c.channel)
    question = question.join(bounds, bounds.c.bound == readings.c.bound).where(runs.c.run_id.in_(ids))
    found: dict[str, list[Told]] = {}
    for run_id, _, step, reading, number, text, *rest in sorted(
        raw_rows(connection, question), key=lambda row: row[:2]
    ):
        measure, low, high, passed = rest
        value = text if number is None else number
        found.setdefault(run_id, []).append(Told(run_id, step, reading, value, measure, low, high, bool(passed)))
    return found


def _life(name: str, simulated: bool, lived: list[LifeRun]) -> Life:
    def once(words: Iterable[str]) -> list[str]:
        return [*dict.fromkeys(filter(None, words))]

    return Life(
        name, simulated, lived, once(each.seen.serial for each in lived), once(each.seen.given_serial for each in lived),
        once(each.seen.address for each in lived), once(each.run.firmware for each in lived),
        once(each.run.station for each in lived), once(each.run.plan for each in lived),
    )  # fmt: skip
