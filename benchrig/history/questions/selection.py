"""The runs that fit, in the fixed order: by their start, those that began together by their id."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters, condition, whole_runs
from benchrig.history.questions.rows import raw_rows
from benchrig.history.tables import runs

Numbers = NDArray[np.int64]
Texts = NDArray[np.object_]


class Selection:
    """The whole runs that fit. What they are called is fetched when it is asked for: for numbers alone that would take
    longer than all else."""

    def __init__(self, history: History, connection: Connection, filters: Filters) -> None:
        self._history, self._filters = history, filters
        self._texts: dict[str, Texts] = {}
        self._kinds: dict[str, tuple[list[str], NDArray[np.intp]]] = {}
        question = select(runs.c.run, runs.c.started, whole_runs(filters), runs.c.rounds_left > 0).where(
            condition(filters)
        )
        rows = np.array(raw_rows(connection, question), np.int64).reshape(-1, 4)
        whole = rows[rows[:, 2] == 1]
        self.apart = len(rows) - len(whole)  # runs that fit and are not whole
        order = _order(connection, whole[:, 0], whole[:, 1], filters)
        self.run, self.started = whole[order, 0], whole[order, 1]
        self.lacks_rounds = whole[order, 3] == 1  # runs with rounds of a repetition that are not on record one by one

    def __len__(self) -> int:
        return len(self.run)

    def texts(self, name: str) -> Texts:
        """A column of the table of runs."""
        if name not in self._texts:
            with self._history.reading() as connection:
                self._texts[name] = _texts(connection, name, self.run, self._filters)
        return self._texts[name]

    def kinds(self, name: str) -> tuple[list[str], NDArray[np.intp]]:
        """The distinct texts of a column, and which one each run has: numbers are compared faster than texts."""
        if name not in self._kinds:
            known: dict[str, int] = {}
            which = [known.setdefault(text, len(known)) for text in self.texts(name).tolist()]
            self._kinds[name] = [*known], np.array(which, np.intp)
        return self._kinds[name]


def _order(connection: Connection, run: Numbers, started: Numbers, filters: Filters) -> NDArray[np.intp]:
    """By the id only where it decides. The order of text is not left to the database: each has its own."""
    order = np.argsort(started, kind="stable")
    if (np.diff(started[order]) == 0).any():
        order = np.lexsort((_texts(connection, "run_id", run, filters).astype(str), started))
    return order


def _texts(connection: Connection, name: str, run: Numbers, filters: Filters) -> Texts:
    """Of each of these runs; '' of one that has gone meanwhile."""
    found = dict(raw_rows(connection, select(runs.c.run, runs.c[name]).where(condition(filters))))
    return as_texts([found.get(number, "") for number in run.tolist()])


def as_texts(words: Sequence[str]) -> Texts:
    made = np.empty(len(words), object)
    made[:] = words
    return made
