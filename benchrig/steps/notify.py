"""notify: what an attribute sends by itself, value by value, and how regularly."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

import msgspec

from benchrig.errors import MalformedValue, StepTimeout
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import ReadingType, Step, format_readings, value_readings
from benchrig.steps.bench import Bench, Stream, Target
from benchrig.values.format import Format, build_format
from benchrig.values.quantity import Duration
from benchrig.values.spec import FormatSpec
from benchrig.values.statistics import Gaps, Sequence

PROPERTIES = ("notify", "indicate")


class Notify(Step, kw_only=True):
    """Subscribe to notifications or indications and listen for `for`, or until `count` have come."""

    verb: ClassVar[str] = "notify"
    within_default: ClassVar[float] = 10.0

    notify: AttributeName
    for_: Duration | None = msgspec.field(name="for", default=None)
    count: int | None = None
    sequence: str | None = None
    format: FormatSpec | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if (self.for_ is None) == (self.count is None):
            both = self.for_ is not None
            yield Misfit(
                "notify has both for and count" if both else "notify has neither for (a time) nor count (a number)",
                "keep one of the two" if both else "for example: for: 10 s",
            )
        if self.for_ is not None and self.within is not None and self.within.seconds < self.for_.seconds:
            yield Misfit(f"within {self.within} ends before the {self.for_} of for are over", path=("within",))
        if self.count is not None and self.count < 1:
            yield Misfit("count must be at least 1", path=("count",))

    def own_format(self) -> Format | None:
        return build_format(self.format) if self.format else None

    @property
    def deadline(self) -> float:
        return self.within.seconds if self.within else (self.for_.seconds if self.for_ else 0) + self.within_default

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        value = value_readings(names, self.notify, self.own_format())
        if value is None:
            return None
        if self.sequence is not None:
            self._check_sequence(names)
        many = {name: ReadingType(kind.kind, kind.unit, kind.doc, many=True) for name, kind in value.items()}
        return many | STREAM_READINGS

    def _check_sequence(self, names: Names) -> None:
        form = self.own_format() or names.meaning(self.notify).format
        known = [*form.leaves()] if form else []
        if self.sequence != "value" and self.sequence not in known:
            raise Misfit(f"the value has no field '{self.sequence}' to count by",
                         f"its fields: {', '.join(known) or 'none; write sequence: value'}", ("sequence",))  # fmt: skip

    async def run(self, bench: Bench) -> None:
        target = bench.target(self.notify, PROPERTIES)
        ear = _Ear(bench, target, self.own_format() or target.format, self.sequence, self.count)
        characteristic = target.found.chain[1]
        started = bench.now()
        ear.started = started
        await bench.subscribe(characteristic, ear.hear, self.title)  # type: ignore[arg-type]
        try:
            await self._listen(bench, ear)
        finally:
            ear.closed = True
        await bench.unsubscribe(characteristic, ear.hear)  # type: ignore[arg-type]
        ear.report()
        if ear.malformed is not None:
            raise ear.malformed

    async def _listen(self, bench: Bench, ear: _Ear) -> None:
        if self.for_ is not None:
            await bench.pause(self.for_.seconds)
            return
        assert self.count is not None
        left = bench.time_left * 0.95
        if not await bench.until(ear.complete, left):
            if bench.wanted("count"):
                return
            ear.report()
            raise StepTimeout(f"only {ear.count} of {self.count} notifications came within {left:.3g} s")


STREAM_READINGS: dict[str, ReadingType] = {
    "count": ReadingType("number", "", "notifications that came"),
    "rate": ReadingType("number", "Hz", "notifications per second between the first and the last"),
    "first_after": ReadingType("number", "s", "from the subscription request to the first notification"),
    "gap_max": ReadingType("number", "s", "longest time between two notifications"),
    "gap_p95": ReadingType("number", "s", "95th percentile of the gaps, to 1 %"),
    "lost": ReadingType("number", "", "values missing in the sequence"),
    "duplicated": ReadingType("number", "", "values that came again in the sequence"),
    "throughput": ReadingType("number", "kbit/s", "value bytes per second between the first and the last"),
    "length": ReadingType("number", "bytes", "length of each value", many=True),
}


class _Ear:
    """Takes the notifications of one step: statistics as they come, nothing kept."""

    def __init__(
        self, bench: Bench, target: Target, form: Format | None, sequence: str | None, wanted: int | None
    ) -> None:
        self.bench = bench
        self.form = form
        self.complete = asyncio.Event()
        self.count = 0
        self.started = 0.0
        self.closed = False
        self.malformed: MalformedValue | None = None
        self._name = target.name
        self._wanted = wanted
        self._bytes = 0
        self._first_bytes = 0
        self._first_at = self._last_at = 0.0
        self._gaps = Gaps()
        self._streams = self._open_streams()
        self._lengths = bench.stream("length", "bytes") if bench.wanted("length") else None
        self._sequence = Sequence(_modulo(form, sequence)) if sequence else None
        self._sequence_field = sequence

    def _open_streams(self) -> dict[str, Stream]:
        if self.form is None:
            return {"value": self.bench.stream("value")}
        return {name: self.bench.stream(name, kind.unit) for name, kind in format_readings(self.form).items()}

    def hear(self, data: bytes) -> None:
        if self.closed or self.complete.is_set():
            return
        now = self.bench.now()
        if self.count:
            self._gaps.add(now - self._last_at)
        else:
            self._first_at, self._first_bytes = now, len(data)
        self._last_at = now
        self.count += 1
        self._bytes += len(data)
        if self._lengths is not None:
            self._lengths.add(len(data), data)
        self._take(data)
        if self.count == self._wanted:
            self.complete.set()

    def _take(self, data: bytes) -> None:
        if self.form is None:
            self._streams["value"].add(bytes(data), data)
            return
        try:
            value = self.form.decode(data)
        except MalformedValue as error:
            if self.malformed is None:
                self.malformed = MalformedValue(
                    f"{self._name}, notification {self.count}: {error.message} (bytes {bytes(data).hex(' ').upper()})"
                )
            return
        if isinstance(value, dict):
            for field, item in value.items():
                self._streams[f"value.{field}"].add(item, data)
            sequence = value.get(self._sequence_field) if self._sequence_field else None
        else:
            self._streams["value"].add(value, data)
            sequence = value
        if self._sequence is not None and isinstance(sequence, int):
            self._sequence.add(sequence)

    def report(self) -> None:
        """The readings of the whole; the streams report themselves when the step ends."""
        bench, span = self.bench, self._last_at - self._first_at
        readings: dict[str, tuple[Any, str]] = {
            "count": (self.count, ""),
            "rate": ((self.count - 1) / span if span > 0 else None, "Hz"),
            "first_after": (self._first_at - self.started if self.count else None, "s"),
            "gap_max": (self._gaps.maximum, "s"),
            "gap_p95": (self._gaps.percentile(95), "s"),
            "throughput": ((self._bytes - self._first_bytes) * 8 / 1000 / span if span > 0 else None, "kbit/s"),
        }
        if self._sequence is not None:
            readings |= {"lost": (self._sequence.lost, ""), "duplicated": (self._sequence.duplicated, "")}
        elif bench.wanted("lost") or bench.wanted("duplicated"):
            readings |= {"lost": (None, ""), "duplicated": (None, "")}
        for name, (value, unit) in readings.items():
            if name == "count" or bench.wanted(name):
                bench.reading(name, round(value, 6) if isinstance(value, float) else value, unit)


def _modulo(form: Format | None, sequence: str) -> int | None:
    """Where the counter wraps: at the size of its own format."""
    leaf = form if form is None or sequence == "value" else form.leaves().get(sequence)
    return None if leaf is None or leaf.size is None else 1 << (8 * leaf.size)
