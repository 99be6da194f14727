"""What the events of a line add up to: the counts of the shift, what is known of each unit, why the line is stopped."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TypeAlias

from msgspec import structs

from benchrig.errors import Cause
from benchrig.line.events import (
    AnyLineEvent,
    CautionRead,
    CleanedUp,
    ClockBack,
    CutOff,
    FileChanged,
    LineCleared,
    LineStopped,
    PersonCame,
    ReferenceChecked,
    RunBegan,
    ShiftBegan,
    ShiftEnded,
    ToldStation,
    UnitBegan,
    UnitEnded,
    Withheld,
    Word,
    counts_for_unit,
)
from benchrig.line.view import Counts

# How many of the last units are kept for the screen.
LAST = 100
# A unit: whether it is a simulated one, its product, and what tells it apart there.
UnitKey: TypeAlias = tuple[bool, str, str]


@dataclass(frozen=True)
class Result:
    """What one test of a unit came to."""

    at: datetime
    word: Word
    cause: Cause | None
    step: str
    reading: str
    run_id: str
    folder: str

    @classmethod
    def of(cls, ended: UnitEnded) -> Result:
        return cls(ended.at, ended.word, ended.cause, ended.step, ended.reading, ended.run_id, ended.folder)


@dataclass
class KnownUnit:
    """A unit that was judged: `first` for ever, `last`, and how it came there. `retests` are those since the last repair."""

    first: Result
    last: Result
    tests: int = 1
    retests: int = 0
    repairs: int = 0


@dataclass
class OpenTest:
    """A unit that is tested, or was when the line died; `run` once it had begun."""

    began: UnitBegan
    run: RunBegan | None = None


@dataclass(frozen=True)
class Test:
    """A test that is over."""

    began: UnitBegan
    ended: UnitEnded


# What fails alike: product, step, reading.
Alike: TypeAlias = tuple[str, str, str]


@dataclass
class ShiftState:
    """A fold of events: `add` takes one after the other, and after each one all of this is right. `shift` is '' where
    none is open; what a shift has counted stays until the next one begins. `units` are those of all shifts."""

    shift: str = ""
    person: str = ""
    began: datetime | None = None
    station_hash: str = ""
    simulated: bool = False
    latest: datetime | None = None  # the time of the last event
    units: dict[UnitKey, KnownUnit] = field(default_factory=dict)
    open: dict[str, OpenTest] = field(
        default_factory=dict
    )  # at the start of a line those that died with the one before
    uncleaned: dict[str, OpenTest] = field(default_factory=dict)  # cut off, and nobody has cleaned up
    last: deque[Test] = field(default_factory=lambda: deque(maxlen=LAST))  # the newest one first
    station_errors: int = 0  # in a row
    untold: int = 0  # failures of the command after a unit, in a row
    alike: dict[str, tuple[Alike, tuple[str, ...]]] = field(default_factory=dict)  # by product, with the units in a row
    stopped: str = ""
    checked: dict[tuple[str, str], ReferenceChecked] = field(default_factory=dict)  # by reference and slot
    cautions: set[tuple[str, str]] = field(default_factory=set)  # person and hash of the plan, in this shift
    _judged: int = 0
    _passed: int = 0
    _retests: int = 0
    _stopped_units: set[UnitKey] = field(default_factory=set)
    # by the keys of the tests of this shift that were judged: their unit, what it came to, and what was known of the unit before
    _given: dict[str, tuple[UnitKey, Result, KnownUnit | None]] = field(default_factory=dict)

    @property
    def counts(self) -> Counts:
        """Of this shift, or of the last one."""
        return Counts(self._judged, self._passed, self._judged - self._passed, len(self._stopped_units), self._retests)

    def known(self, product: str, unit: str) -> KnownUnit | None:
        """What is known of a unit of this station, real or simulated as the shift is; None before its first result."""
        return self.units.get((self.simulated, product, unit))

    def testing(self, product: str, unit: str) -> OpenTest | None:
        """The test of this unit that is not over."""
        return next(
            (test for test in self.open.values() if (test.began.product, test.began.unit) == (product, unit)), None
        )

    def add(self, event: AnyLineEvent) -> None:
        match event:
            case ShiftBegan():
                self._begin(event)
            case PersonCame():
                self.person = event.person
            case ShiftEnded():
                self.shift = ""
            case CautionRead():
                self.cautions.add((event.person, event.plan_hash))
            case UnitBegan():
                self.open[event.key] = OpenTest(event)
            case RunBegan() if event.key in self.open:
                self.open[event.key].run = event
            case UnitEnded() if event.key in self.open:
                self._end(Test(self.open.pop(event.key).began, event))
            case CutOff() if event.key in self.open:
                self._cut_off(self.open.pop(event.key))
            case Withheld():
                self._withhold(event)
            case CleanedUp():
                self.uncleaned.pop(event.key, None)
            case _:
                self._of_the_station(event)
        self.latest = event.at

    def _of_the_station(self, event: AnyLineEvent) -> None:
        match event:
            case ReferenceChecked():
                self.checked[event.name, event.slot] = event
            case FileChanged(taken=True):
                self.station_hash = event.new
                self.checked.clear()
            case ClockBack():
                self.checked.clear()
            case ToldStation():
                self.untold = 0 if event.ok else self.untold + 1
            case LineStopped():
                self.stopped = event.why
            case LineCleared():
                self.stopped, self.station_errors, self.untold = "", 0, 0
                self.alike.clear()

    def _begin(self, event: ShiftBegan) -> None:
        self.shift, self.person, self.began = event.shift, event.person, event.at
        self.station_hash, self.simulated = event.station_hash, event.simulated
        self._judged = self._passed = self._retests = 0
        self._stopped_units.clear()
        self._given.clear()
        self.cautions.clear()
        self.checked.clear()
        self.last.clear()

    def _end(self, test: Test) -> None:
        self.last.appendleft(test)
        if test.ended.judged:
            self.station_errors = 0
        elif test.ended.of_the_station:
            self.station_errors += 1
        if counts_for_unit(test.began.purpose):
            self._count(test)

    def _count(self, test: Test) -> None:
        key = (self.simulated, test.began.product, test.began.unit)
        known = self.units.get(key)
        if test.ended.judged:
            self._stopped_units.discard(key)
            self._given[test.began.key] = (key, Result.of(test.ended), replace(known) if known is not None else None)
            if known is None:
                self._first(key, test)
            else:
                self._again(known, test)
        elif known is None:
            self._stopped_units.add(key)

    def _withhold(self, event: Withheld) -> None:
        """A verdict that nobody was given is none: the unit is known as before."""
        self.last = deque((_withheld(test, event) for test in self.last), maxlen=LAST)
        unit, result, before = self._given.pop(event.key, (None, None, None))
        known = self.units.get(unit) if unit is not None else None
        if unit is None or known is None or known.last != result:
            return
        if before is not None:
            self.units[unit] = before
            self._retests -= 1
            return
        del self.units[unit]
        self._judged -= 1
        self._passed -= known.first.word == "PASS"
        self._stopped_units.add(unit)

    def _first(self, key: UnitKey, test: Test) -> None:
        """The first result stands for ever."""
        result = Result.of(test.ended)
        self.units[key] = KnownUnit(result, result)
        self._judged += 1
        self._passed += test.ended.word == "PASS"
        self._compare(test)

    def _again(self, known: KnownUnit, test: Test) -> None:
        known.last = Result.of(test.ended)
        known.tests += 1
        self._retests += 1
        if test.began.purpose == "repaired":
            known.repairs, known.retests = known.repairs + 1, 0
        else:
            known.retests += 1

    def _compare(self, test: Test) -> None:
        """Equal failures are those of different units, each by its first result; those of one product only are in a row."""
        product, ended = test.began.product, test.ended
        if ended.word == "PASS":
            self.alike.pop(product, None)
            return
        failure = (product, ended.step, ended.reading)
        before, units = self.alike.get(product, (failure, ()))
        self.alike[product] = (failure, (*units, test.began.unit) if before == failure else (test.began.unit,))

    def _cut_off(self, test: OpenTest) -> None:
        """Nobody has touched a unit whose run had not begun."""
        if test.run is not None:
            self.uncleaned[test.began.key] = test


def _withheld(test: Test, event: Withheld) -> Test:
    if test.began.key != event.key:
        return test
    return Test(test.began, structs.replace(test.ended, word="STOP", cause="operator", message=event.why))


def folded(events: Iterable[AnyLineEvent]) -> ShiftState:
    """All of them, from the first one."""
    state = ShiftState()
    for event in events:
        state.add(event)
    return state
