"""Runs, one entry each, and whether a run says something of its unit."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from operator import attrgetter
from typing import Any

import msgspec
from sqlalchemy import ColumnElement, Connection, select, true

from benchrig.errors import speaks_of_unit
from benchrig.history.moments import moment_of
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters, check_words, condition
from benchrig.history.questions.rows import raw_rows
from benchrig.history.tables import runs
from benchrig.record.purposes import OF_THE_STATION


class RunRow(msgspec.Struct, frozen=True, gc=False):
    """The head and the end of a run. `unit` is its serial number, read or given, else its address."""

    run_id: str
    started: datetime
    verdict: str
    plan: str
    unit: str = ""
    cause: str = ""
    step: str = ""  # which decided, and the first of its readings that failed
    reading: str = ""
    message: str = ""
    station: str = ""
    firmware: str = ""
    revision: str = ""
    plan_hash: str = ""
    limit_set: str = ""
    fixture: str = ""
    radio: str = ""
    serial: str = ""
    given_serial: str = ""
    address: str = ""
    folder: str = ""
    study: str = ""  # the gauge study that it is a measurement of
    left_out: int = 0  # steps of the plan, in a partial run
    not_judged: int = 0  # limits
    simulated: bool = False
    purpose: str = ""  # what it was at a line, from here on; all empty for one that was at none
    product: str = ""
    slot: str = ""
    person: str = ""
    shift: str = ""
    proof: str = ""  # how the unit was proven to be in the slot
    reference: str = ""  # the name of the unit that checks the station
    first_run: str = ""  # of a retest or a repaired unit: the id of its first run
    again: int = 0

    @property
    def apart(self) -> str:
        """Why it counts neither as passed nor as failed; '' where it counts."""
        if self.purpose in OF_THE_STATION:
            return OF_THE_STATION[self.purpose]
        if self.study:
            return "gauge study"
        if self.left_out:
            return "partial"
        if speaks_of_unit(self.verdict, self.cause):
            return ""
        return self.verdict if self.verdict != "error" else f"cause {self.cause}"

    @property
    def at_line(self) -> str:
        """'golden unit', 'retest 2', 'repaired'; '' of a first test, and of a run that was at no line."""
        if self.purpose == "retest":
            return f"retest {self.again or ''}".strip()
        return OF_THE_STATION.get(self.purpose, self.purpose if self.purpose != "unit" else "")

    @property
    def place(self) -> str:
        """'line 3, slot 2, Anna'; at no line that of the station alone."""
        return ", ".join(filter(None, (self.station, f"slot {self.slot}" * bool(self.slot), self.person)))

    @property
    def passed(self) -> bool:
        return self.verdict == "pass"


_COLUMNS = (
    runs.c.run_id, runs.c.started, runs.c.verdict, runs.c.plan, runs.c.unit, runs.c.cause, runs.c.root_step,
    runs.c.root_reading, runs.c.message, runs.c.station, runs.c.firmware, runs.c.revision, runs.c.plan_hash,
    runs.c.limit_set, runs.c.fixture, runs.c.radio, runs.c.serial, runs.c.given_serial, runs.c.address, runs.c.folder,
    runs.c.study, runs.c.left_out, (runs.c.planned - runs.c.judged), runs.c.simulated, runs.c.purpose,
    runs.c.product, runs.c.slot, runs.c.person, runs.c.shift, runs.c.proof, runs.c.reference, runs.c.first_run, runs.c.again,
)  # fmt: skip

_SIMULATED = RunRow.__struct_fields__.index("simulated") - 2


def runs_of(history: History, filters: Filters) -> list[RunRow]:
    """The runs that fit, in the order of their start."""
    with history.reading() as connection:
        check_words(connection, filters)
        return rows_of(connection, condition(filters))


def rows_of(connection: Connection, which: ColumnElement[bool] | None = None) -> list[RunRow]:
    question = select(*_COLUMNS).where(true() if which is None else which)
    return in_order(_row(each) for each in raw_rows(connection, question))


def _row(cells: tuple[Any, ...]) -> RunRow:
    run_id, started, *rest = cells
    rest[_SIMULATED] = bool(rest[_SIMULATED])  # SQLite has no truth but 0 and 1
    return RunRow(run_id, moment_of(started), *rest)


def in_order(found: Iterable[RunRow]) -> list[RunRow]:
    """By their start, those that began together by their id: databases order text each in its own way."""
    return sorted(found, key=attrgetter("started", "run_id"))


def json_moment(moment: datetime) -> str:
    """As in JSON: '2026-11-27T19:50:18.035000Z'."""
    return str(msgspec.to_builtins(moment))
