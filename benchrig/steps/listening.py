"""What the notifications of one step add up to: statistics as they come, nothing kept."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

from benchrig.errors import MalformedValue
from benchrig.source.problem import counted
from benchrig.steps.base import ReadingType
from benchrig.steps.bench import Bench
from benchrig.steps.waiting import Goal
from benchrig.values.base import flat
from benchrig.values.format import Format
from benchrig.values.judging import in_brackets
from benchrig.values.statistics import Arrivals, Sequence


class Counter:
    """The whole numbers by which a stream counts, as they are before scale and words."""

    def __init__(self, form: Format, field: str, leaf: Format) -> None:
        self.sequence = Sequence(leaf.counts)
        self.without = 0
        self.malformed = 0
        self._form, self._field = form.plain(), field

    def take(self, data: bytes) -> None:
        value = self._form.decode(data)
        number = flat(value).get(self._field) if isinstance(value, dict) else value
        if isinstance(number, int):
            self.sequence.add(number)
        else:
            self.without += 1

    @property
    def lost(self) -> int | None:
        return None if self.without else self.sequence.lost

    @property
    def duplicated(self) -> int | None:
        return None if self.without else self.sequence.duplicated

    @property
    def lacks(self) -> str:
        """Why nothing was counted, or not all."""
        if self.without:
            return f"{counted(self.without, 'notification')} arrived without '{self._field}'"
        if self.malformed and self.sequence.count < 2:
            return f"{counted(self.malformed, 'notification')} arrived malformed"
        if self.sequence.went_back:
            return "the counter went back and counted on from there: it was set anew, or lost more than half its range"
        return too_few(self.sequence.count, 2)


# Gets the readings of one value.
Also: TypeAlias = Callable[[Mapping[str, Any]], None]


class Listening:
    """Takes what one stream of a step brings: `decode` makes readings of these `types` of it, whose names begin with the
    `prefix`; `also` gets these too. `over` is set once so many as were wanted have come, after one that meets the `goal`, or
    after an error."""

    def __init__(
        self,
        bench: Bench,
        name: str,
        types: Mapping[str, ReadingType],
        decode: Callable[[bytes], Mapping[str, Any]],
        *,
        counter: Counter | None = None,
        wanted: int | None = None,
        goal: Goal | None = None,
        also: Also | None = None,
        prefix: str = "",
        noun: str = "notification",
    ) -> None:
        self.over = asyncio.Event()
        # when a value met the goal
        self.reached_at: float | None = None
        self.error: Exception | None = None
        self.malformed: MalformedValue | None = None
        self.arrivals = Arrivals()
        self._bench, self._name, self._prefix, self._decode = bench, name, prefix, decode
        self.goal = goal
        self.noun = noun
        # whether nothing at all is nothing wrong, and then the readings whose limits hold for nothing at all
        self.may_be_silent = False
        self.may_be_empty: frozenset[str] = frozenset()
        self._counter, self._wanted, self._also = counter, wanted, also
        self._streams = {name: bench.stream(f"{prefix}{name}", kind.unit) for name, kind in types.items()}
        length = f"{prefix}length"
        self._lengths = bench.stream(length, "bytes") if bench.wanted(length) else None
        self.started = bench.now()

    @property
    def count(self) -> int:
        return self.arrivals.count

    def hear(self, data: bytes) -> None:
        """One notification. Nobody waits for this call: what goes wrong in it is told by the step."""
        if self.over.is_set():
            return
        try:
            self._hear(data)
        except Exception as error:
            self.error = error
            self.over.set()

    def _hear(self, data: bytes) -> None:
        self.arrivals.add(self._bench.now(), len(data))
        if self._lengths is not None:
            self._lengths.add(len(data), data)
        self._take(data)
        if self.count == self._wanted:
            self.over.set()

    def _take(self, data: bytes) -> None:
        try:
            readings = self._decode(data)
        except MalformedValue as error:
            said = f"{self._name}, {self.noun} {self.count}: {error.message}{in_brackets(data)}"
            self.malformed = self.malformed or MalformedValue(said)
            if self._counter is not None:
                self._counter.malformed += 1
            return
        for name, value in readings.items():
            self._streams[name].add(value, data)
        if self._counter is not None:
            self._counter.take(data)
        if self._also is not None or self.goal is not None:
            self._compare({**readings, "length": len(data)})

    def _compare(self, found: Mapping[str, Any]) -> None:
        if self._also is not None:
            self._also(found)
        if self.goal is not None and self.goal.is_met(found):
            self.reached_at = self._bench.now()
            self.over.set()

    def end(self, at: float) -> None:
        """Nothing that comes later belongs to the step."""
        self.over.set()
        self.arrivals.end(at)
        self._ended = max(at, self.arrivals.last)

    def report(self) -> None:
        """The readings of the whole; the streams report themselves when the step ends."""
        for name, stream in self._streams.items():
            stream.close(may_be_empty=name in self.may_be_empty)
        if self._lengths is not None:
            self._lengths.close()
        arrivals, window = self.arrivals, self.arrivals.window
        window_of_all = (self.started, self._ended, self.count)
        self._bench.reading(f"{self._prefix}count", self.count, window=window_of_all)
        first = (self.started, arrivals.first, 1)
        self._statistic("first_after", arrivals.first - self.started if self.count else None, "s", first, 1)
        bit_rate = arrivals.bit_rate
        self._statistic("rate", arrivals.rate, "Hz", window)
        self._statistic("gap_max", arrivals.gap_max, "s", window)
        self._statistic("gap_p95", arrivals.gap_percentile(95), "s", window)
        self._statistic("throughput", None if bit_rate is None else bit_rate / 1000, "kbit/s", window)
        if self._counter is not None:
            self._report_counter(self._counter)

    def _statistic(
        self, name: str, value: float | None, unit: str, window: tuple[float, float, int], least: int = 2
    ) -> None:
        name = f"{self._prefix}{name}"
        if not self._bench.wanted(name):
            return
        if value is None:
            self._bench.reading(name, None, unit, why=too_few(self.count, least, self.noun))
        else:
            self._bench.reading(name, round(value, 6), unit, window=window)

    def _report_counter(self, counter: Counter) -> None:
        begin, end = self.arrivals.first, self.arrivals.last
        for name, value in (("lost", counter.lost), ("duplicated", counter.duplicated)):
            name = f"{self._prefix}{name}"
            if not self._bench.wanted(name):
                continue
            if value is None:
                self._bench.reading(name, None, why=counter.lacks)
            else:
                self._bench.reading(name, value, window=(begin, end, counter.sequence.count))


def too_few(count: int, least: int, noun: str = "notification") -> str:
    """Why a statistic of so many has no value."""
    if count >= least:
        return f"{counted(count, noun)} arrived, all at the same time"
    return f"{counted(count, noun)} arrived, {least} needed" if count else f"no {noun} arrived"
