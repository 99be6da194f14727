"""notify: what an attribute sends by itself, value by value, and how regularly."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

import msgspec

from benchrig.errors import StepTimeout
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import ReadingType, least_of
from benchrig.steps.bench import Bench
from benchrig.steps.listening import Listening
from benchrig.steps.stream import COUNTED, Streamed, of_one_sample, says_how_few
from benchrig.steps.subscription import Mode
from benchrig.steps.waiting import REACHED, REACHED_AFTER, Goal, Waiting, see_it_through
from benchrig.values.format import FormatSpec
from benchrig.values.quantity import Duration

# Seconds that subscribing may take beside the time to listen.
SUBSCRIBE = 1.0
# Seconds that it takes at most to end the subscription.
TURN_OFF = 0.4
_OF_TWO = frozenset({"rate", "gap_max", "gap_p95", "throughput", *COUNTED})


class Notify(Waiting, kw_only=True):
    """Subscribe to notifications or indications and listen for `for`, until `count` have come, or `until` one satisfies."""

    verb: ClassVar[str] = "notify"
    usual: ClassVar[str] = "value"
    within_default: ClassVar[float] = 10.0
    elsewhere: ClassVar[dict[str, str]] = {"sequence": "write 'counter'"}

    notify: AttributeName
    for_: Duration | None = msgspec.field(name="for", default=None)
    count: int | None = None
    counter: str | None = None
    mode: Mode | None = None
    format: FormatSpec | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.for_ is not None and self.count is not None:
            yield Misfit("notify has both for and count", "keep one of the two")
        elif self.for_ is None and self.count is None and not self.until:
            yield Misfit("notify has neither for (a time) nor count (a number) nor until", "for example: for: 10 s")
        if self.count is not None and self.count < 1:
            yield Misfit("count must be at least 1", "for example: 10", path=("count",))
        yield from self._time_misfits()
        yield from self._count_misfits()
        yield from self._streamed.misfits(self.expect)

    def _count_misfits(self) -> Iterable[Misfit]:
        if self.count == 1:
            for name in _OF_TWO & self.expect.keys():
                advice = "write count: 2 or more"
                yield Misfit(f"{name} needs two notifications, and one is listened for", advice, ("expect", name))
        least = least_of(self.expect.get("count"))
        if self.count is not None and least is not None and least > self.count:
            message = f"the count is never above {self.count}: then no more are listened for"
            yield Misfit(message, "take out the limit, or write for: in place of count:", ("expect", "count"))

    def _time_misfits(self) -> Iterable[Misfit]:
        if self.for_ is None or self.within is None:
            return
        least = (self.for_.seconds + SUBSCRIBE) * self.attempts
        if self.within.seconds < least:
            times = f" {self.attempts} times" if self.attempts > 1 else ""
            yield Misfit(
                f"within {self.within} is too short to subscribe and listen for {self.for_}{times}",
                f"write within: {least:g} s, or more",
                ("within",),
            )

    def in_one(self, types: Mapping[str, ReadingType]) -> dict[str, ReadingType]:
        return of_one_sample(types)

    @property
    def deadline(self) -> float:
        listening = self.for_.seconds if self.for_ else 0.0
        return self.within.seconds if self.within else (listening + self.within_default) * self.attempts

    @property
    def _streamed(self) -> Streamed:
        return Streamed(self.notify, self.counter, self.mode, self.format.built if self.format else None)

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        own = self._streamed.readings(names)
        return None if own is None else own | ({REACHED: REACHED_AFTER} if self.until else {})

    async def run(self, bench: Bench) -> None:
        began, had = bench.now(), bench.time_left
        async with self._streamed.heard(bench, self.title, wanted=self.count, until=self.until) as listening:
            await self._listen(bench, listening)
        listening.report()
        error = (
            listening.error or listening.malformed or self._shortage(listening.count, bench.since(listening.started))
        )
        if error is not None:
            raise error
        if listening.goal is not None:
            await self._report_reached(bench, listening, listening.goal, began, had)

    async def _report_reached(self, bench: Bench, listening: Listening, goal: Goal, began: float, had: float) -> None:
        if listening.reached_at is not None:
            bench.reading(REACHED, round(listening.reached_at - began, 6), "s")
            return
        heard = counted(listening.count, "notification")
        why = f"{goal.unmet('none arrived')} after {bench.since(began):.3g} s, {heard}"
        await see_it_through(bench, self, had, why)
        bench.reading(REACHED, None, "s", why=why)

    async def _listen(self, bench: Bench, listening: Listening) -> None:
        """For the time of `for`, or for what is left less the time to unsubscribe in."""
        began = bench.now()
        left = bench.time_left * 0.95 if not self.until else bench.time_left - min(TURN_OFF, bench.time_left * 0.05)
        seconds = self.for_.seconds if self.for_ else left
        await bench.until(listening.over, seconds)
        listening.end(min(bench.now(), began + seconds))

    def _shortage(self, count: int, after: float) -> StepTimeout | None:
        """Too little came, where no limit says how few are enough."""
        if self.until or count >= (self.count or 1) or says_how_few(self.limits.get("count")):
            return None
        if self.count is not None:
            return StepTimeout(f"only {count} of {self.count} notifications arrived within {after:.3g} s")
        return StepTimeout(f"no notification arrived in {self.for_}")
