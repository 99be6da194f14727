"""repeat: the same steps so many times, for so long, or once for each value of a list."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping
from fractions import Fraction
from typing import Any, ClassVar, Literal

import msgspec

from benchrig.errors import BenchrigError, InnerError, LeftOut, LinkLost, UsageError
from benchrig.source.nodes import plain
from benchrig.source.problem import Place, counted
from benchrig.source.references import has_reference
from benchrig.source.shape import Misfit, describe_value
from benchrig.source.yaml import Mapping as Node
from benchrig.source.yaml import Sequence
from benchrig.steps.attribute import Names
from benchrig.steps.base import Bindable, Held, ReadingType, Rounds
from benchrig.steps.composite import JUDGES_FAILURES, Came, Composite, CompositeBench, telling_of
from benchrig.steps.rounds import RoundReadings
from benchrig.steps.sequential import DECIDED, DECISION, Accepted, SequentialTest, Trials
from benchrig.values.evidence import Failures, ShareOf
from benchrig.values.judging import typed
from benchrig.values.limit import Limit
from benchrig.values.quantity import Duration, as_number

MOST_ROUNDS = 10_000_000
SHARE = "failed_share"
# A round that is over in less, in seconds, has met nothing that takes time; so many of them in a row are the end.
_NO_TIME = 0.001
_MOST_IDLE = 1000
_EXAMPLES = "for example: 50, 8 h, or {mode: [low, high]}"


class Times:
    """How often: a `count`, a time in `seconds`, or once for each of the `values` of `name`."""

    __slots__ = ("count", "name", "seconds", "values")
    source_schema: ClassVar[dict[str, Any]] = {
        "anyOf": [{"type": "integer"}, {"type": "string"}, {"type": "object", "minProperties": 1, "maxProperties": 1,
                  "additionalProperties": {"type": "array", "minItems": 1}}]
    }  # fmt: skip

    def __init__(
        self, count: int | None = None, seconds: float = 0.0, name: str = "", values: tuple[Any, ...] = ()
    ) -> None:
        self.count = len(values) if values else count
        self.seconds = seconds
        self.name = name
        self.values = values

    @classmethod
    def from_source(cls, value: Any) -> Times:
        value = typed(value)
        if isinstance(value, int) and not isinstance(value, bool):
            return cls(_count(value))
        if isinstance(value, str):
            seconds = Duration.from_source(value).seconds
            if not seconds:
                raise Misfit("a repetition takes more than 0 s", "for example: 8 h")
            return cls(seconds=seconds)
        if isinstance(value, dict):
            return cls(None, 0.0, *_list(value))
        raise Misfit(
            f"expected a number of rounds, a time or a list of values, found {describe_value(value)}", _EXAMPLES
        )

    def __str__(self) -> str:
        if self.values:
            return self.name
        return f"for {self.seconds:g} s" if self.count is None else f"{self.count} times"

    def of_round(self, number: int) -> dict[str, Any]:
        """The values of a round, by name."""
        return {"round": number} | ({self.name: self.values[number - 1]} if self.values else {})


def _count(value: int) -> int:
    if not 1 <= value <= MOST_ROUNDS:
        raise Misfit(f"expected 1 to {MOST_ROUNDS} rounds, found {value}", _EXAMPLES)
    return value


def _list(value: Mapping[Any, Any]) -> tuple[str, tuple[Any, ...]]:
    if len(value) != 1:
        raise Misfit(f"expected one name with a list of values, found {len(value)} names", _EXAMPLES)
    [(name, values)] = value.items()
    if not (isinstance(name, str) and name.isidentifier()):
        raise Misfit(f"'{name}' cannot be the name of a value", "use letters, digits and _", (name,))
    if not isinstance(values, list) or not values:
        raise Misfit(
            f"expected a list of values, found {describe_value(values) if values else 'none'}", _EXAMPLES, (name,)
        )
    for index, each in enumerate(values):
        if isinstance(each, (dict, list)) or each is None:
            raise Misfit(f"expected a single value, found {describe_value(each)}", "", (name, index))
    return name, tuple(values)


class Repeat(Composite, kw_only=True):
    """Carry out `steps` in rounds. Readings of the steps in it are streams over the rounds: STEP.READING."""

    verb: ClassVar[str] = "repeat"
    role: ClassVar[Literal["group", "repeat"]] = "repeat"
    shown: ClassVar[dict[str, str]] = {"repeat": "would be a value that any step in it can show"}
    implied: ClassVar[dict[str, str]] = {"sequential": DECISION}

    repeat: Times
    every: Duration | None = None
    stop_when: dict[str, Limit] = msgspec.field(default_factory=dict)
    sequential: SequentialTest | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.every is not None and not self.every.seconds:
            yield Misfit("every must be more than 0 s", "for example: 10 s", ("every",))
        judged = [name for name, limit in self.expect.items() if getattr(limit, "confidence", None) is not None]
        for name in judged:
            yield from self._fixed_misfits(("expect", name, "confidence"), "a confidence")
        if self.sequential is not None:
            yield from self._sequential_misfits(self.sequential, judged)

    def _fixed_misfits(self, path: tuple[str, ...], what: str) -> Iterable[Misfit]:
        """Where the rounds that come depend on how those before them ended: that makes any number of failures rarer."""
        if self.stop_when:
            message = f"{what} is wrong where stop_when ends the rounds: it may end them at a good moment"
            yield Misfit(message, "take out stop_when, or write sequential", path)
        if self.repeat.count is None:
            message = f"{what} needs a number of rounds: how many come in a time depends on how they end"
            yield Misfit(message, "write how many rounds", ("repeat",))

    def _sequential_misfits(self, test: SequentialTest, judged: list[str]) -> Iterable[Misfit]:
        yield from self._fixed_misfits(("sequential",), "a sequential test")
        if judged:
            message = "a confidence is wrong where a sequential test ends the rounds"
            yield Misfit(message, "keep one of the two", ("expect", judged[0], "confidence"))
        if DECISION in self.expect:
            yield Misfit(f"sequential is the limit on '{DECISION}' already", "take it out", ("expect", DECISION))
        if self.repeat.values:
            message = "a sequential test may end before each value of the list had its round"
            yield Misfit(message, "write how many rounds", ("repeat",))
        elif self.repeat.count is not None and (wrong := test.misfit_for(self.repeat.count)) is not None:
            yield wrong

    @property
    def limits(self) -> Mapping[str, Bindable]:
        """With `sequential`, that it accepts the unit is one of them."""
        written = super().limits
        return written if self.sequential is None else {**written, DECISION: Accepted(self.sequential)}

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            "rounds": ReadingType("number", "", "rounds that were carried out"),
            "passed": ReadingType("number", "", "rounds in which every step passed"),
            "failed": ReadingType("number", "", "rounds in which a step did not pass"),
            SHARE: ReadingType(
                "number",
                "%",
                "share of the rounds in which a step did not pass",
                rounds=Rounds(ShareOf(), self.most_rounds),
            ),
            "elapsed": ReadingType("number", "s", "from the first round to the end of the last one"),
            **({DECISION: DECIDED} if self.sequential is not None else {}),
        }

    def held(self, types: Mapping[str, ReadingType]) -> Iterable[Held]:
        yield Held(("stop_when",), self.stop_when, types)

    @classmethod
    def values_inside(cls, node: Node) -> dict[str, Place | None]:
        listed = node.get("repeat")
        names = listed.entries.items() if isinstance(listed, Node) else ()
        return {"round": None} | {name: key.place for name, (key, _) in names if isinstance(name, str)}

    @classmethod
    def listed_inside(cls, node: Node) -> dict[str, list[Any]]:
        listed = node.get("repeat")
        values = {name: part for name, (_, part) in listed.entries.items()} if isinstance(listed, Node) else {}
        return {
            str(name): [plain(item) for item in part.items if not has_reference(item)]
            for name, part in values.items()
            if isinstance(part, Sequence)
        }

    @property
    def most_rounds(self) -> int | None:
        """None where nobody knows before the run."""
        return self.repeat.count if isinstance(self.repeat, Times) else None

    @property
    def is_once(self) -> bool:
        """Whether there is one round only."""
        return isinstance(self.repeat, Times) and self.repeat.count == 1

    @property
    def extent(self) -> tuple[int, float]:
        return self.repeat.count or 0, self.repeat.seconds

    @property
    def title(self) -> str:
        return f"repeat {self.repeat}"

    def misfits_inside(self, steps: Mapping[str, bool], *, instant: bool) -> Iterable[Misfit]:
        timed = isinstance(self.repeat, Times) and self.repeat.count is None
        if timed and instant and self.every is None:
            message = f"it could not end: no step in it takes any of the {self.repeat.seconds:g} s"
            yield Misfit(message, "add every: 1 s, or write how many rounds", ("repeat",))

    def hints(self, names: Names) -> Iterable[str]:
        if self.sequential is not None and self.repeat.count is not None:
            yield self.sequential.hint(self.repeat.count)

    async def run(self, bench: CompositeBench) -> None:  # type: ignore[override]
        over_rounds = RoundReadings(bench, {*self.limits, *self.save}, {*self.stop_when}, self.limits)
        tally = Tally(bench.now())
        going = True
        while going:
            tally.begins(bench.now())
            over_rounds.next_round()
            came = await bench.inside.run("steps", self.repeat.of_round(tally.rounds), over_rounds)
            tally.ended(came, bench.now())
            if came.begun or came.error is not None:
                over_rounds.end_round()
            if came.error is not None and (came.over or came.error.verdict == "error"):
                raise tally.error()
            going = not self._decided(tally, over_rounds) and await self._next(bench, tally, came)
        self._report(bench, tally, over_rounds)

    def _decided(self, tally: Tally, over_rounds: RoundReadings) -> bool:
        """Whether nothing more has to be seen."""
        own = {**tally.readings, SHARE: (tally.share, "%")}
        return over_rounds.satisfy(self.stop_when, own) or self.decision(tally) not in (None, "undecided")

    def decision(self, tally: Tally) -> str | None:
        """Of the sequential test, if there is one."""
        return None if self.sequential is None else self.sequential.test.decision(tally.carried_out, tally.failed)

    def unreported(self, tally: Tally) -> BenchrigError | None:
        """Why the rounds give no readings of the whole."""
        if tally.failed and tally.weight == 0 and not self.tolerates:
            return tally.error()  # nothing but left out
        return LeftOut() if tally.empty == tally.rounds else None

    def _report(self, bench: CompositeBench, tally: Tally, over_rounds: RoundReadings) -> None:
        if (error := self.unreported(tally)) is not None:
            raise error
        for name, (value, unit) in tally.readings.items():
            bench.reading(name, value, unit, telling=tally.telling if name in JUDGES_FAILURES else None)
        self._report_share(bench, tally)
        over_rounds.report()
        if tally.failed and not self.tolerates:
            raise tally.error()

    def _report_share(self, bench: CompositeBench, tally: Tally) -> None:
        if bench.wanted(SHARE):
            bench.reading(SHARE, tally.share, "%", telling=tally.telling, evidence=tally.failures)
        if (decision := self.decision(tally)) is not None:
            seen = Trials(tally.carried_out, tally.failed)
            bench.reading(DECISION, decision, telling=tally.telling, evidence=seen)

    async def _next(self, bench: CompositeBench, tally: Tally, came: Came) -> bool:
        """Wait for the begin of the next round; False where there is none."""
        now, idle = bench.now(), not came.begun
        begin = now if self.every is None or idle else max(now, tally.began + self.every.seconds)
        count, ends = self.repeat.count, tally.started + self.repeat.seconds
        if tally.rounds == count or (count is None and (begin >= ends or self._stands_still(tally, came))):
            return False
        try:
            await bench.own(bench.pause(begin - now) if begin > now else asyncio.sleep(0), begin - now + 1)
        except LinkLost as error:
            tally.lost(error)
        return True

    def _stands_still(self, tally: Tally, came: Came) -> bool:
        """Whether the time of a repetition would never be over, or pass without anything."""
        if came.error is not None and not (came.begun and tally.took):
            raise tally.error("; nothing more of it can be carried out")
        if tally.idle > _MOST_IDLE:
            raise UsageError(f"{tally.idle} rounds took no time", advice="add every: 1 s, or write how many rounds")
        return not came.begun


class Tally:
    """How the rounds ended so far. What happens up to the begin of the next one belongs to a round."""

    def __init__(self, started: float) -> None:
        self.started = self.began = started
        self.rounds = self.failed = self.empty = 0
        # failed rounds in a row count as one run
        self._runs = self._last_failed = 0
        self.elapsed = 0.0
        # whether the last round took time, and how many did not without one between them
        self.took = True
        self.idle = 0
        self._worst: BenchrigError | None = None
        self._has_failed = self._is_empty = False

    @property
    def readings(self) -> dict[str, tuple[Any, str]]:
        passed = self.rounds - self.failed - self.empty
        return {"rounds": (self.rounds, ""), "passed": (passed, ""), "failed": (self.failed, ""),
                "elapsed": (self.elapsed, "s")}  # fmt: skip

    @property
    def carried_out(self) -> int:
        """The rounds that conditions did not leave out."""
        return self.rounds - self.empty

    @property
    def share(self) -> float | None:
        """Of failed rounds, in %; None before one was carried out."""
        return as_number(Fraction(100 * self.failed, self.carried_out)) if self.carried_out else None

    @property
    def failures(self) -> Failures:
        return Failures(self.failed, self.carried_out, self._runs)

    @property
    def telling(self) -> Callable[[str], str] | None:
        return telling_of(self._worst)

    def begins(self, now: float) -> None:
        self.rounds += 1
        self.began, self._has_failed, self._is_empty = now, False, False

    def ended(self, came: Came, now: float) -> None:
        self.elapsed = round(now - self.started, 6)
        self.took = now - self.began > _NO_TIME
        self.idle = 0 if self.took else self.idle + 1
        if came.error is not None:
            self._fail(came.error)
        elif not came.begun:
            self.empty += 1  # conditions left out all of it
            self._is_empty = True

    def lost(self, error: LinkLost) -> None:
        """The link, between two rounds."""
        self.empty -= self._is_empty
        self._is_empty = False
        self._fail(LinkLost(f"{error.message} after round {self.rounds}"))

    def _fail(self, error: BenchrigError) -> None:
        if not self._has_failed:
            self.failed += 1
            self._runs += self._last_failed != self.carried_out - 1 or self.failed == 1
            self._last_failed = self.carried_out
        self._has_failed = True
        if self._worst is None or _weight(error) > self.weight:
            self._worst = error

    @property
    def weight(self) -> int:
        """Of the worst that happened; 0 for steps that were left out."""
        return _weight(self._worst) if self._worst is not None else 0

    def error(self, more: str = "") -> BenchrigError:
        """What to say of the rounds that did not pass: of the worst of them the first."""
        assert self._worst is not None
        self._worst.message = (
            f"{self.failed} of {counted(self.rounds, 'round')} did not pass: {self._worst.message}{more}"
        )
        return self._worst


def _weight(error: BenchrigError) -> int:
    return error.weight if isinstance(error, InnerError) else 1
