"""A reading of many samples."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from msgspec.structs import replace

from benchrig.errors import UsageError
from benchrig.record.events import Kept, Reading, Samples, Where
from benchrig.run.clock import Clock
from benchrig.run.judge import RunningJudge
from benchrig.values.jsonable import hex_text, jsonable, tidy
from benchrig.values.judging import Judgement
from benchrig.values.kept import Keeper
from benchrig.values.statistics import Moments

# How often a stream that goes on says how it stands, in seconds: a run that dies keeps that.
TELL_EVERY = 1.0


def kept_of(keeper: Keeper) -> Kept | None:
    """What a record has of the samples; None where nothing came."""
    return Kept(keeper.values, keeper.times, keeper.every, keeper.left_out) if keeper.count else None


class RunStream:
    """A reading of many samples: judged one by one where it has a `judge`, kept as statistics. `tell` gets its state while
    it goes on, `also` each sample; `keep` of these are kept at most."""

    def __init__(
        self,
        where: Where,
        name: str,
        unit: str,
        judge: RunningJudge | None,
        clock: Clock,
        tell: Callable[[Reading], None],
        also: Callable[[str, Any, str, bytes | None], None] | None = None,
        keep: int = 0,
    ) -> None:
        self._where, self.name, self.unit = where, name, unit
        self._judge, self._clock, self._tell, self._also = judge, clock, tell, also
        self._moments = Moments()
        self._keeper = Keeper(keep) if keep else None
        self._count = 0
        self._begin = self._end = 0.0
        self._whole = self._over = self._may_be_empty = False
        self._last: Any = None
        self._last_raw: bytes | None = None
        self._told = clock.now()

    def add(self, value: Any, raw: bytes | None = None) -> None:
        if self._over:
            raise UsageError(f"the step that gave '{self.name}' is over", advice="return when all is done")
        self._count += 1
        self._end = self._clock.now()
        if self._count == 1:
            self._begin = self._end
        self._last, self._last_raw = value, raw
        if type(value) in (int, float) and math.isfinite(value):
            self._moments.add(value)
        if self._keeper is not None:
            self._keeper.add(self._clock.seconds(self._end), jsonable(value))
        if self._also is not None:
            self._also(self.name, value, self.unit, raw)
        if self._is_news(value, raw) or self._end - self._told >= TELL_EVERY:
            self._told = self._end
            broken = self._judge.broken(self._count, self._extremes) if self._judge else None
            self._tell(replace(self._statistics(), judgement=broken, partial=True))

    def _is_news(self, value: Any, raw: bytes | None) -> bool:
        """The first sample outside is."""
        if self._judge is None or self._judge.passes(value) or self._judge.first is not None:
            return False
        self._judge.keep(self._count - 1, self._clock.at, value, raw)
        return True

    def close(self, *, may_be_empty: bool = False) -> None:
        self._whole, self._may_be_empty = True, may_be_empty

    @property
    def is_closed(self) -> bool:
        """Whether all samples have come, as far as whoever gives them says."""
        return self._whole

    def reading(self) -> Reading:
        """The whole stream as one reading, judged."""
        self._over = True
        kept = kept_of(self._keeper) if self._keeper is not None else None
        return replace(self._statistics(), judgement=self._judgement(), kept=kept)

    def _judgement(self) -> Judgement | None:
        """One that was cut off is judged only by a sample that broke its limit."""
        if self._judge is None:
            return None
        if not self._whole:
            return self._judge.broken(self._count, self._extremes)
        if not self._count and self._may_be_empty:
            return self._judge.empty()
        return self._judge.whole(self._count, self._extremes or [self._last])

    @property
    def _extremes(self) -> list[float]:
        moments = self._moments
        return [moments.minimum, moments.maximum] if moments.count else []

    @property
    def value(self) -> Any:
        """The mean of numbers, else the last sample."""
        return tidy(self._moments.mean) if self._moments.count else self._last

    def _statistics(self) -> Reading:
        moments, value, first = self._moments, self.value, self._judge.first if self._judge else None
        numeric = moments.count > 0
        samples = Samples(
            count=self._count,
            minimum=moments.minimum if numeric else None,
            maximum=moments.maximum if numeric else None,
            mean=value if numeric else None,
            sd=None if moments.sd is None else tidy(moments.sd),
            outside=self._judge.outside if self._judge else 0,
            first_outside=first.index if first else None,
            first_outside_at=first.at if first else None,
            others=self._count - moments.count if numeric else 0,
        )
        raw = first.raw if first else self._last_raw
        return Reading(
            self._where,
            self._clock.at,
            self.name,
            jsonable(value if numeric or first is None else first.value),
            self.unit,
            None if raw is None else hex_text(raw),
            samples,
            window=self._clock.window(self._begin, self._end, self._count) if self._count else None,
        )
