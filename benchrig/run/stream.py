"""A reading of many samples."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from benchrig.errors import UsageError
from benchrig.record.model import Reading, Samples
from benchrig.run.jsonable import hex_text, jsonable, tidy
from benchrig.values.judging import Judgement
from benchrig.values.statistics import Moments

if TYPE_CHECKING:
    from benchrig.run.bench import RunBench


# How often a stream that goes on says how it stands, in seconds: a run that dies keeps that.
TELL_EVERY = 1.0


class RunStream:
    """A reading of many samples: judged one by one, kept as statistics."""

    def __init__(self, bench: RunBench, step: int, name: str, unit: str, limit: Any) -> None:
        self._bench, self._step, self._name, self._unit = bench, step, name, unit
        self._limited = limit is not None
        self._bound: Any = None
        self._moments = Moments()
        self._count = 0
        self._outside = 0
        self._begin = self._end = 0.0
        self._whole = self._over = False
        self._first: tuple[int, float, bytes | None, Judgement] | None = None
        self._first_wrong: Any = None
        self._last: Any = None
        self._last_raw: bytes | None = None
        self._told = bench.now()

    def add(self, value: Any, raw: bytes | None = None) -> None:
        if self._over:
            raise UsageError(f"the step that gave '{self._name}' is over", advice="return when all is done")
        self._count += 1
        self._end = self._bench.now()
        if self._count == 1:
            self._begin = self._end
        self._last, self._last_raw = value, raw
        if type(value) in (int, float) and math.isfinite(value):
            self._moments.add(value)
        news = self._limited and not self._passes(value, raw)
        if news or self._end - self._told >= TELL_EVERY:
            self._tell()

    def _passes(self, value: Any, raw: bytes | None) -> bool:
        """False for the first sample outside, which is news."""
        if self._bound is None:
            self._bound = self._bench.bound(self._name, value, self._unit)
        if self._bound.passes(value):
            return True
        self._outside += 1
        if self._first is not None:
            return True
        self._first_wrong = value
        self._first = (self._count - 1, self._bench.at, raw, self._bound.judge(value))
        return False

    def _tell(self) -> None:
        self._told = self._end
        judgement = self._judgement() if self._first is not None else None
        self._bench.tell(replace(self._statistics(), judgement=judgement, partial=True))

    def close(self) -> None:
        self._whole = True

    def reading(self) -> Reading:
        """The whole stream as one reading, judged."""
        self._over = True
        reading = self._statistics()
        self._bench.save_stream(self._name, self._value, self._unit)
        return replace(reading, judgement=self._judgement())

    @property
    def _value(self) -> Any:
        """The mean of numbers, else the last sample."""
        return tidy(self._moments.mean) if self._moments.count else self._last

    def _statistics(self) -> Reading:
        moments = self._moments
        numeric = moments.count > 0
        value = self._value
        samples = Samples(
            count=self._count,
            minimum=moments.minimum if numeric else None,
            maximum=moments.maximum if numeric else None,
            mean=value if numeric else None,
            sd=None if moments.sd is None else tidy(moments.sd),
            outside=self._outside,
            first_outside=self._first[0] if self._first else None,
            first_outside_at=self._first[1] if self._first else None,
        )
        raw = self._first[2] if self._first else self._last_raw
        return Reading(
            self._step,
            self._name,
            jsonable(value if numeric or self._first is None else self._first_wrong),
            self._unit,
            None if raw is None else hex_text(raw),
            samples,
            window=self._bench.window(self._begin, self._end, self._count) if self._count else None,
            at=self._bench.at,
        )

    def _judgement(self) -> Judgement | None:
        if not self._limited:
            return None
        place = self._bench.place_of(self._name)
        if self._first is not None:
            index, at, _, judgement = self._first
            sentence = (
                f"{self._outside} of {self._count} samples outside; the first, number {index + 1} at {at:.3f} s: "
            )
            return Judgement(
                False,
                judgement.limit,
                sentence + judgement.sentence,
                judgement.low,
                judgement.high,
                judgement.margin,
                place,
            )
        if not self._whole:
            return None
        if self._bound is None:
            return Judgement(False, "every sample", "no sample came that could be judged", place=place)
        return self._passed(place)

    def _passed(self, place: str) -> Judgement:
        """All samples passed: the margin is that of the extreme ones."""
        extremes = [self._moments.minimum, self._moments.maximum] if self._moments.count else [self._last]
        judgements = [self._bound.judge(value) for value in extremes]
        margins = [j.margin for j in judgements if j.margin is not None]
        first = judgements[0]
        sentence = f"all {self._count} samples satisfy: {first.limit}"
        return Judgement(True, first.limit, sentence, first.low, first.high, min(margins, default=None), place)
