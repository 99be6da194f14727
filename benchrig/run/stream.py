"""A reading of many samples."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from benchrig.record.model import Reading, Samples
from benchrig.run.jsonable import hex_text, jsonable, tidy
from benchrig.values.judging import Judgement
from benchrig.values.statistics import Moments

if TYPE_CHECKING:
    from benchrig.run.bench import RunBench


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
        self._first: tuple[int, float, bytes | None, Judgement] | None = None
        self._last: Any = None
        self._last_raw: bytes | None = None

    def add(self, value: Any, raw: bytes | None = None) -> None:
        self._count += 1
        self._end = self._bench.now()
        if self._count == 1:
            self._begin = self._end
        self._last, self._last_raw = value, raw
        if type(value) in (int, float) and math.isfinite(value):
            self._moments.add(value)
        if self._limited:
            if self._bound is None:
                self._bound = self._bench.bound(self._name, value, self._unit)
            if not self._bound.passes(value):
                self._outside += 1
                if self._first is None:
                    self._first = (self._count - 1, self._bench.at, raw, self._bound.judge(value))

    def reading(self) -> Reading:
        """The whole stream as one reading: the mean of numbers, else the last sample."""
        moments = self._moments
        numeric = moments.count > 0
        value = tidy(moments.mean) if numeric else self._last
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
        self._bench.save_stream(self._name, value, self._unit)
        return Reading(
            self._step,
            self._name,
            jsonable(value),
            self._unit,
            None if raw is None else hex_text(raw),
            samples,
            self._judgement(),
            self._bench.window(self._begin, self._end, self._count) if self._count else None,
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
