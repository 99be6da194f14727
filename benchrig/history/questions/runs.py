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

    @property
    def apart(self) -> str:
        """Why it counts neither as passed nor as failed; '' where it counts."""
        if self.study:
            return "gauge study"
        if self.left_out:
            return "partial"
        if speaks_of_unit(self.verdict, self.cause):
            return ""
        return self.verdict if self.verdict != "error" else f"cause {self.cause}"

    @property
    def passed(self) -> bool:
        return self.verdict == "pass"


_COLUMNS = (
    runs.c.run_id, runs.c.started, runs.c.verdict, runs.c.plan, runs.c.unit, runs.c.cause, runs.c.root_step,
    runs.c.root_reading, runs.c.message, runs.c.station, runs.c.firmware, runs.c.revision, runs.c.plan_hash,
    runs.c.limit_set, runs.c.fixture, runs.c.radio, runs.c.serial, runs.c.given_serial, runs.c.address, runs.c.folder,
    runs.c.study, runs.c.left_out, (runs.c.planned - runs.c.judged), runs.c.simulated,
)  # fmt: skip


def runs_of(history: History, filters: Filters) -> list[RunRow]:
    """The runs that fit, in the order of their start."""
    with history.reading() as connection:
        check_words(connection, filters)
        return rows_of(connection, condition(filters))


def rows_of(connection: Connection, which: ColumnElement[bool] | None = None) -> list[RunRow]:
    question = select(*_COLUMNS).where(true() if which is None else which)
    return in_order(_row(each) for each in raw_rows(connection, question))


def _row(cells: tuple[Any, ...]) -> RunRow:
    run_id, started, *rest, simulated = cells
    return RunRow(run_id, moment_of(started), *(*rest, bool(simulated)))  # SQLite has no truth but 0 and 1


def in_order(found: Iterable[RunRow]) -> list[RunRow]:
    """By their start, those that began together by their id: databases order text each in its own way."""
    return sorted(found, key=attrgetter("started", "run_id"))


def json_moment(moment: datetime) -> str:
    """As in JSON: '2026-11-27T19:50:18.035000Z'."""
    return str(msgspec.to_builtins(moment))
