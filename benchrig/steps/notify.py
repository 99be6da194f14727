"""notify: what an attribute sends by itself, value by value, and how regularly."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import ClassVar

import msgspec

from benchrig.errors import StepTimeout
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import ReadingType, least_of, types_of, value_readings
from benchrig.steps.bench import Bench
from benchrig.steps.listening import Counter, Listening
from benchrig.steps.subscription import Mode, indicates, sender
from benchrig.steps.waiting import REACHED, REACHED_AFTER, Goal, Waiting, see_it_through
from benchrig.values.format import Format, FormatSpec
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import Duration

# Seconds that subscribing may take beside the time to listen.
SUBSCRIBE = 1.0
# Seconds that it takes at most to end the subscription.
TURN_OFF = 0.4
_COUNTED = ("lost", "duplicated")
_OF_TWO = frozenset({"rate", "gap_max", "gap_p95", "throughput", *_COUNTED})


class Notify(Waiting, kw_only=True):
    """Subscribe to notifications or indications and listen for `for`, until `count` have come, or `until` one satisfies."""

    verb: ClassVar[str] = "notify"
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
        for name in _COUNTED:
            if self.counter is None and name in self.expect:
                yield Misfit(f"'{name}' needs a counter", "add counter: FIELD", ("expect", name))

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
        return {name: replace(kind, many=False) for name, kind in types.items() if kind.many}

    def own_format(self) -> Format | None:
        return self.format.built if self.format else None

    @property
    def deadline(self) -> float:
        listening = self.for_.seconds if self.for_ else 0.0
        return self.within.seconds if self.within else (listening + self.within_default) * self.attempts

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        value = value_readings(names, self.notify, self.own_format())
        if value is None:
            return None
        self._counter(self.own_format() or names.meaning(self.notify).format)
        many = {name: replace(kind, many=True) for name, kind in value.items()}
        return many | STREAM_READINGS | ({REACHED: REACHED_AFTER} if self.until else {})

    def _counter(self, form: Format | None) -> Counter | None:
        """What counts the notifications. Misfit for a field that is not there, or is no whole number."""
        if self.counter is None:
            return None
        leaves = form.leaves() if form else {}
        leaf = form if self.counter == "value" and not leaves else leaves.get(self.counter)
        if leaf is None and (leaves or self.counter != "value"):
            fields = f"name one of its fields: {', '.join(leaves)}" if leaves else "write counter: value"
            raise Misfit(f"the value has no field '{self.counter}' to count by", fields, ("counter",))
        if form is None or not isinstance(leaf, IntegerFormat) or leaf.bits < 2:
            what = leaf.describe() if leaf else "plain bytes"
            raise Misfit(
                f"'{self.counter}' is {what}; only a whole number of 2 bits or more counts up",
                "name a field that is one, or give the attribute its format",
                ("counter",),
            )
        return Counter(form, self.counter, leaf)

    async def run(self, bench: Bench) -> None:
        began, had = bench.now(), bench.time_left
        target = sender(bench, self.notify, self.mode)
        form = self.own_format() or target.format
        goal = Goal(self.until, {**types_of(form), "length": STREAM_READINGS["length"]}) if self.until else None
        listening = Listening(bench, target.name, form, self._counter(form), self.count, goal)
        async with bench.listening(target, listening.hear, self.title, indicates(self.mode)):
            await self._listen(bench, listening)
        listening.report()
        error = (
            listening.error or listening.malformed or self._shortage(listening.count, bench.since(listening.started))
        )
        if error is not None:
            raise error
        if goal is not None:
            await self._report_reached(bench, listening, goal, began, had)

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
        if self.until or count >= (self.count or 1) or self._says_how_few():
            return None
        if self.count is not None:
            return StepTimeout(f"only {count} of {self.count} notifications arrived within {after:.3g} s")
        return StepTimeout(f"no notification arrived in {self.for_}")

    def _says_how_few(self) -> bool:
        """Whether the limit on the count has a least, or wants silence: an upper bound alone holds for silence too."""
        limit = self.limits.get("count")
        if limit is None:
            return False
        bound = limit.bind("number")
        return bound.low is not None or not bound.passes(1)


STREAM_READINGS: dict[str, ReadingType] = {
    "count": ReadingType("number", "", "notifications that arrived"),
    "rate": ReadingType("number", "Hz", "notifications per second from the first one on"),
    "first_after": ReadingType("number", "s", "from the subscription request to the first notification"),
    "gap_max": ReadingType("number", "s", "longest time without a notification after the first"),
    "gap_p95": ReadingType("number", "s", "95th percentile of the gaps, to 1 %"),
    "lost": ReadingType("number", "", "values that the counter shows to be missing"),
    "duplicated": ReadingType("number", "", "values that the counter shows to have come again"),
    "throughput": ReadingType("number", "kbit/s", "value bytes per second from the first notification on"),
    "length": ReadingType("number", "bytes", "length of each value", many=True),
}
