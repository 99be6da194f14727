"""The values of a reading over many runs, as arrays: what every figure is made of."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from benchrig.history.opening import History
from benchrig.history.questions.channels import Channel, held, one_channel
from benchrig.history.questions.filters import Filters, check_words
from benchrig.history.questions.rows import raw_rows
from benchrig.history.questions.selection import Numbers, Selection, Texts
from benchrig.history.tables import bounds, readings

Floats: TypeAlias = NDArray[np.float64]
Places: TypeAlias = NDArray[np.intp]
Of: TypeAlias = Literal["value", "minimum", "maximum", "mean"]

_ROW = np.dtype([("run", "i8"), ("value", "f8"), ("bound", "i8"), ("passed", "?")])
# Of so few runs the readings are looked up one by one; of more all of the channel are read.
_FEW = 2000
_BOUNDS = ("low", "high", "stated_low", "stated_high")


@dataclass(frozen=True)
class Values:
    """One entry a value, in the order of the runs and, in a run, of the record. `low` and `high` are what was judged by,
    the stated ones what they were before a guard band drew them in: those of the plan, which a process is compared with, as the
    band is the uncertainty of the station; nan where there is none."""

    channel: Channel
    filters: Filters
    value: Floats
    started: NDArray[np.datetime64]  # UTC
    low: Floats
    high: Floats
    stated_low: Floats
    stated_high: Floats
    passed: NDArray[np.bool_]
    not_numbers: int  # readings that are text or a stream of many samples, and are not among these
    some_rounds: (
        int  # runs that took it again and again, and have only some rounds on record: the failed ones are among these
    )
    apart: int  # runs that fit and have no part in it: see `whole_runs` of filters.py
    _selected: Selection = field(repr=False)
    _place: Places = field(repr=False)  # of the run of each value among the selected ones

    def __len__(self) -> int:
        return len(self.value)

    @property
    def simulated(self) -> bool:
        return self.filters.simulated

    @property
    def run(self) -> Texts:
        """The ids of the runs."""
        return self.of_run("run_id")

    @property
    def unit(self) -> Texts:
        return self.of_run("unit")

    @property
    def station(self) -> Texts:
        return self.of_run("station")

    @property
    def firmware(self) -> Texts:
        return self.of_run("firmware")

    @property
    def folder(self) -> Texts:
        """As the history has it: `History.folder` makes a path of it."""
        return self.of_run("folder")

    @property
    def without(self) -> int:
        """How many whole runs of the plan have no value of the reading: it was not taken, or not judged, or is no number."""
        of_plan = self._selected.texts("plan") == self.channel.plan
        return int(of_plan.sum()) - len(np.unique(self._place))

    @property
    def failed_as_stated(self) -> NDArray[np.bool_]:
        """Which values failed with no guard band between them and the limits of the plan: one that is on such a limit is
        outside of it, as with 'above'."""
        return ~self.passed & ~(self.low > self.stated_low) & ~(self.high < self.stated_high)

    def of_run(self, column: str, places: Places | None = None) -> Texts:
        """A column of the table of runs, for each value, or those at these places alone."""
        return self._selected.texts(column)[self._place if places is None else self._place[places]]

    def runs_among(self, places: Places) -> int:
        """How many runs the values at these places are of."""
        return len(np.unique(self._place[places]))

    def kinds_of(self, column: str) -> tuple[list[str], Places]:
        """What a column of the table of runs has, and which of these each value has."""
        names, which = self._selected.kinds(column)
        return names, which[self._place]


def values_of(history: History, reading: str, filters: Filters, of: Of = "value") -> Values:
    """The values of one reading, 'STEP.READING'. Of streams `of` says what: their least, greatest or mean sample. UsageError
    for a reading that is not there, or not one reading."""
    with history.reading() as connection:
        check_words(connection, filters)
        channel = one_channel(connection, reading, filters)
        return _values(connection, channel, filters, Selection(history, connection, filters), of)


def all_values(history: History, filters: Filters) -> Iterator[Values]:
    """The values of every reading that has numbers, one reading after the other, all of one state of the history."""
    with history.reading() as connection:
        check_words(connection, filters)
        selected = Selection(history, connection, filters)
        for channel in held(connection, filters):
            values = _values(connection, channel, filters, selected, "value")
            if len(values):
                yield values


def _values(connection: Connection, channel: Channel, filters: Filters, selected: Selection, of: Of) -> Values:
    rows, place = _placed(_rows(connection, channel, selected, of), selected.run)
    told = ~np.isnan(rows["value"])
    rows, place = rows[told], place[told]
    started = selected.started[place].astype("datetime64[us]")
    low, high, stated_low, stated_high = _limits(connection, rows["bound"])
    return Values(
        channel, filters, rows["value"].copy(), started, low, high, stated_low, stated_high, rows["passed"].copy(),
        int((~told).sum()), _with_some_rounds(place, selected), selected.apart, selected, place,
    )  # fmt: skip


def _rows(connection: Connection, channel: Channel, selected: Selection, of: Of) -> NDArray[np.void]:
    """Those of a run one after the other, as they are in the record."""
    question = select(*(readings.c[name] for name in ("run", of, "bound", "passed")))
    question = question.where(readings.c.channel == channel.number).order_by(readings.c.run, readings.c.n)
    if len(selected) <= _FEW:
        question = question.where(readings.c.run.in_(selected.run.tolist()))
    found = raw_rows(connection, question)
    return np.fromiter(found, _ROW, len(found))


def _placed(rows: NDArray[np.void], numbers: Numbers) -> tuple[NDArray[np.void], Places]:
    """The readings of these runs in their order, with the place of the run of each."""
    if not len(numbers):
        return rows[:0], np.empty(0, np.intp)
    sorting = np.argsort(numbers)
    near = np.searchsorted(numbers, rows["run"], sorter=sorting).clip(max=len(numbers) - 1)
    place = sorting[near]
    kept = numbers[place] == rows["run"]
    rows, place = rows[kept], place[kept]
    order = np.argsort(place, kind="stable")
    return rows[order], place[order]


def _with_some_rounds(place: Places, selected: Selection) -> int:
    """The runs with several values, of which more rounds were carried out than are on record."""
    again = np.bincount(place, minlength=len(selected)) > 1
    return int((again & selected.lacks_rounds).sum())


def _limits(connection: Connection, which: NDArray[np.int64]) -> Iterator[Floats]:
    """What each reading was held against; few limits serve many readings."""
    used, index = np.unique(which, return_inverse=True)
    question = select(bounds.c.bound, *(bounds.c[name] for name in _BOUNDS))
    known = {row[0]: row[1:] for row in connection.execute(question.where(bounds.c.bound.in_(used.tolist())))}
    table = np.array([known[number] for number in used.tolist()], np.float64).reshape(-1, len(_BOUNDS))
    return (table[index, column] for column in range(len(_BOUNDS)))
