"""Waiting for a state: what `until` asks for, whether an answer or a sample satisfies it, and the limit that says so."""

from __future__ import annotations

import contextlib
from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any, ClassVar, Protocol, TypeVar

import msgspec

from benchrig.errors import AttError, MalformedValue, StepTimeout
from benchrig.source.shape import Misfit
from benchrig.steps.base import Bindable, Held, ReadingType, Step, least_of
from benchrig.steps.bench import Bench
from benchrig.values.judging import BoundLimit, Check, Kind, kind_of, shown
from benchrig.values.limit import Limit
from benchrig.values.quantity import Duration

REACHED = "reached_after"
REACHED_AFTER = ReadingType("number", "s", "from the begin of the step to what satisfies 'until'")
TRIES = ReadingType("number", "", "how often it was asked for")
# How often is asked where the plan does not say it.
PACE = 0.5
# Time that the last request needs to be answered in: this part of the deadline, so many seconds at most; or so many times
# the longest answer.
_LAST_PART, _LAST_MOST, _LAST_TIMES = 0.1, 1.0, 4
_SHORT_BY = 0.1
# In less time nothing comes that had not come before.
_LEAST = 0.001
_ADD = "add until: {READING: LIMIT}"


class Reached(msgspec.Struct, frozen=True):
    """The limit on `reached_after`: that it is reached at all, and what the plan asks of the time beside that."""

    written: Limit | None = None

    @property
    def in_words(self) -> str:
        return "is reached" + (f" and {self.written.in_words}" if self.written else "")

    def bind(self, kind: Kind, unit: str = "") -> BoundLimit:
        beside = self.written.bind(kind, unit) if self.written else BoundLimit((), unit)
        reached = Check("is reached", lambda got: got is not None, lambda got: "not reached")
        return replace(beside, checks=(reached, *beside.checks), absent="not reached")

    def misfits_for(self, kind: Kind, unit: str = "") -> list[Misfit]:
        return self.written.misfits_for(kind, unit) if self.written else []


class Waiting(Step, kw_only=True, omit_defaults=True):
    """A step that may wait for a state. Its readings have REACHED_AFTER where it has an `until`."""

    implied: ClassVar[dict[str, str]] = {"until": REACHED}
    # readings that come with an until, and all that are about the step as a whole: one answer does not have them
    of_waiting: ClassVar[frozenset[str]] = frozenset({REACHED})
    of_the_whole: ClassVar[frozenset[str]] = of_waiting

    until: dict[str, Limit] = msgspec.field(default_factory=dict)

    @property
    def limits(self) -> Mapping[str, Bindable]:
        """With `until`, that it is reached is one of them."""
        written: Any = super().limits
        return {**written, REACHED: Reached(written.get(REACHED))} if self.until else written

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if not self.until:
            yield from self._without_until()
        elif self.attempts > 1:
            yield Misfit("until and attempts: until tries again already", "take out attempts", ("attempts",))
        yield from self._never_in_time()

    def _without_until(self) -> Iterable[Misfit]:
        for key, used in (("expect", self.expect), ("save", self.save)):
            for name in sorted(self.of_waiting & used.keys()):
                yield Misfit(f"'{name}' needs an until", _ADD, (key, name))

    def _never_in_time(self) -> Iterable[Misfit]:
        limit = self.expect.get(REACHED)
        least = least_of(limit, "s")
        if self.until and least is not None and least > self.deadline:
            message = f"the step ends after {self.deadline:g} s, so nothing could pass"
            yield Misfit(message, f"write within: {float(least):g} s or more", ("expect", REACHED))

    def held(self, types: Mapping[str, ReadingType]) -> Iterable[Held]:
        yield Held(("until",), self.until, self.in_one(types))

    def in_one(self, types: Mapping[str, ReadingType]) -> dict[str, ReadingType]:
        """Those of the readings that one answer, or one sample, has: `until` may ask for them."""
        return {name: kind for name, kind in types.items() if name not in self.of_the_whole}


class Goal:
    """What an `until` asks for, of readings of these types."""

    def __init__(self, until: Mapping[str, Limit], types: Mapping[str, ReadingType]) -> None:
        self._until, self._types = until, types
        self._last: Mapping[str, Any] = {}

    def is_met(self, found: Mapping[str, Any]) -> bool:
        """Whether these readings of one answer satisfy it. Misfit when a limit does not apply to them."""
        self._last = found
        return self.fits(found)

    def fits(self, found: Mapping[str, Any]) -> bool:
        """Whether these would satisfy it; they are not what it was held against."""
        return all(name in found and self._bound(name, found[name]).passes(found[name]) for name in self._until)

    def _bound(self, name: str, value: Any) -> BoundLimit:
        kind = self._types.get(name, ReadingType("any"))
        return self._until[name].bind(kind.kind if kind.kind != "any" else kind_of(value, kind.unit), kind.unit)

    def unmet(self, nothing: str) -> str:
        """'expected value equals 'done'; found 'running''; of readings that were never there it says `nothing`."""
        return " and ".join(filter(None, (self._missed(name, nothing) for name in self._until)))

    def _missed(self, name: str, nothing: str) -> str:
        if name not in self._last:
            refused = self._last.get("att_error", "none")
            found = nothing if refused == "none" else f"the device answered with the ATT error '{refused}'"
            return f"expected {name} {self._bound(name, None).words}; {found}"
        value, unit = self._last[name], self._types.get(name, ReadingType("any")).unit
        bound = self._bound(name, value)
        return "" if bound.passes(value) else f"expected {name} {bound.words}; found {shown(value, unit)}"


class Answer(Protocol):
    """What came of asking once: its readings, or the refusal that was awaited too."""

    @property
    def found(self) -> Mapping[str, Any]: ...

    @property
    def refusal(self) -> AttError | None: ...


A = TypeVar("A", bound=Answer)


class Polling(Waiting, kw_only=True, omit_defaults=True):
    """A step that asks the unit, and asks again `every` so long until the answer is what `until` says."""

    of_waiting: ClassVar[frozenset[str]] = frozenset({REACHED, "tries"})
    of_the_whole: ClassVar[frozenset[str]] = of_waiting

    every: Duration | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.every is not None and not self.until:
            yield Misfit("every needs an until", _ADD, ("every",))
        if self.every is not None:
            if self.every.seconds == 0:
                yield Misfit("every must be more than 0 s", "for example: 500 ms", ("every",))
            elif self.every.seconds > self.deadline:
                message = f"every {self.every} is longer than the {self.deadline:g} s that the step has"
                yield Misfit(message, "write a longer within, or a shorter every", ("every",))

    def waiting_readings(self) -> dict[str, ReadingType]:
        return {REACHED: REACHED_AFTER, "tries": TRIES} if self.until else {}

    async def settled(self, bench: Bench, types: Mapping[str, ReadingType], ask: Callable[[], Awaitable[A]]) -> A:
        """The first answer that satisfies `until`, or the last one there is time for; without an `until` the only one.
        AttError where that is a refusal."""
        answer = await (_Poll(bench, self, types).answer(ask) if self.until else ask())
        if answer.refusal is not None:
            raise answer.refusal
        return answer


class _Poll:
    """The tries of one step."""

    def __init__(self, bench: Bench, step: Polling, types: Mapping[str, ReadingType]) -> None:
        self._bench, self._step, self._goal = bench, step, Goal(step.until, types)
        self._pace = step.every.seconds if step.every else PACE
        self._started, self._left = bench.now(), bench.time_left
        self._longest, self._tries = 0.0, 0

    async def answer(self, ask: Callable[[], Awaitable[A]]) -> A:
        while True:
            answer, now = await self._asked(ask), self._bench.now()
            if self._satisfies(answer):
                return answer
            rest = self._bench.time_left - self._needed
            if rest < _LEAST:
                await self._give_up()
                return answer
            pause = min(max(0.0, self._begun + self._pace - now), rest)  # the last time it asks earlier than the pace
            await self._bench.pause(pause)

    def _satisfies(self, answer: Answer) -> bool:
        """Whether nothing more is asked: also when the answer is malformed, which the step tells then."""
        with contextlib.suppress(MalformedValue):
            if not self._goal.is_met(answer.found):
                return False
            self._report(self._bench.since(self._started))
        return True

    async def _asked(self, ask: Callable[[], Awaitable[A]]) -> A:
        """One try. A refusal that nobody waits for ends it."""
        self._begun = self._bench.now()
        self._tries += 1
        try:
            answer = await ask()
        except AttError as error:
            if "att_error" in self._step.limits:
                self._report(None, error.message)
            raise
        self._longest = max(self._longest, self._bench.now() - self._begun)
        return answer

    @property
    def _needed(self) -> float:
        """What one more try needs: a request that is cut off costs the link."""
        return max(min(_LAST_MOST, self._step.deadline * _LAST_PART), _LAST_TIMES * self._longest)

    async def _give_up(self) -> None:
        after, tries = self._bench.now() - self._started, f"{self._tries} {'try' if self._tries == 1 else 'tries'}"
        why = f"{self._goal.unmet('the answer has none')} after {after:.3g} s, {tries}"
        await see_it_through(self._bench, self._step, self._left, why)
        self._report(None, why)

    def _report(self, after: float | None, why: str = "") -> None:
        self._bench.reading(REACHED, after, "s", why=why)
        self._bench.reading("tries", self._tries)


async def see_it_through(bench: Bench, step: Step, had: float, why: str) -> None:
    """Nothing was reached in the `had` seconds that the step had. Where that was less than its own time the unit is not to
    blame: StepTimeout at its deadline."""
    if step.deadline - had > _SHORT_BY:
        await bench.pause(bench.time_left)
        raise StepTimeout(f"only {had:.3g} s were left of the {step.deadline:g} s to wait in; {why}")
