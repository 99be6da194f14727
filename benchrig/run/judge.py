"""Holds readings against the limits of a step. Knows no bench, no radio and no time: the same values give the same
judgements, whoever asks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from benchrig.values.confident import no_evidence
from benchrig.values.judging import BoundLimit, Judgement, Kind, kind_of
from benchrig.values.rising import for_stream, one_value

if TYPE_CHECKING:
    from benchrig.steps.base import Bindable, Bound, ReadingType


@dataclass(frozen=True)
class Judge:
    """Of one step."""

    # what each reading is held against
    limits: Mapping[str, Bindable]
    # what each reading will be, where the step can say it
    types: Mapping[str, ReadingType] | None
    # 'file:line' of the limit on a reading
    place_of: Callable[[str], str]

    def judge(self, name: str, value: Any, unit: str = "", why: str = "", evidence: object = None) -> Judgement | None:
        """None for a reading without a limit; of a value that is None `why` says what it lacks. Where the limit is on what
        is behind the reading, the `evidence` decides. Misfit when the limit does not apply."""
        limit = self.limits.get(name)
        if limit is None:
            return None
        if value is None:
            return self._without_value(name, limit, unit, why)
        bound = self._bound(name, limit, value, unit)
        if getattr(bound, "needs_samples", False):
            raise one_value(name)
        return _weighed(limit, bound, name, value, evidence, self.place_of(name)) or bound.judge(
            value, self.place_of(name)
        )

    def missing(self, name: str) -> Judgement:
        """Of a limit whose reading the step did not give."""
        return Judgement(False, "a reading", f"the step gave no reading '{name}'", place=self.place_of(name))

    def running(self, name: str, unit: str = "") -> RunningJudge | None:
        """For the samples of a stream; None for one without a limit."""
        limit = self.limits.get(name)
        if limit is None:
            return None
        if getattr(limit, "confidence", None) is not None:
            raise no_evidence(name)
        place, bound = self.place_of(name), lambda value: for_stream(self._bound(name, limit, value, unit))
        return RunningJudge(bound, place, limit.in_words)

    def _bound(self, name: str, limit: Bindable, value: Any, unit: str) -> Bound:
        """The limit tied to what the reading is declared to be, else to what it is."""
        declared = self.types.get(name) if self.types else None
        kind = declared.kind if declared and declared.kind != "any" else kind_of(value, unit)
        bound: Bound = limit.bind(kind, unit)
        return bound

    def kind_of(self, name: str) -> Kind:
        """What the reading is declared to be; 'any' where the step cannot say it."""
        declared = self.types.get(name) if self.types else None
        return declared.kind if declared else "any"

    def _without_value(self, name: str, limit: Bindable, unit: str, why: str) -> Judgement:
        """Nothing can satisfy a limit without a value; the limit is tied to what the value would have been."""
        declared = self.types.get(name) if self.types else None
        known = declared is not None and declared.kind != "any"
        bound: Any = limit.bind(declared.kind, unit or declared.unit) if declared and known else None
        absent = bound.absent if isinstance(bound, BoundLimit) else "there is no value"
        sentence = f"{absent}: {why}" if why else absent
        place = self.place_of(name)
        if not isinstance(bound, BoundLimit):
            return Judgement(False, limit.in_words, sentence, place=place)
        return bound.judgement(sentence, place, passed=False)


def _weighed(limit: Bindable, bound: Any, name: str, value: Any, evidence: object, place: str) -> Judgement | None:
    weigh = getattr(limit, "weigh", None)
    judgement: Judgement | None = weigh(bound, name, value, evidence, place) if weigh is not None else None
    return judgement


@dataclass(frozen=True)
class Outside:
    """The first sample of a stream that broke its limit; `index` counts from 0, `at` is a time of the run."""

    index: int
    at: float
    value: Any
    raw: bytes | None
    judgement: Judgement


class RunningJudge:
    """Judges the samples of one stream as they come; keeps the first one outside and how many there were."""

    def __init__(self, bind: Callable[[Any], Bound], place: str, written: str) -> None:
        self.outside = 0
        self.first: Outside | None = None
        self.place = place
        self._bind, self._written = bind, written
        self._bound: Bound | None = None

    def bound_to(self, value: Any) -> Bound:
        """The limit, tied to what the first sample was."""
        if self._bound is None:
            self._bound = self._bind(value)
        return self._bound

    def passes(self, value: Any) -> bool:
        if self.bound_to(value).passes(value):
            return True
        self.outside += 1
        return False

    def keep(self, index: int, at: float, value: Any, raw: bytes | None) -> None:
        """This sample was the first one outside."""
        assert self._bound is not None
        self.first = Outside(index, at, value, raw, self._bound.judge(value))

    def broken(self, count: int, extremes: Sequence[Any] = ()) -> Judgement | None:
        """What is wrong with `count` samples; None for nothing so far. The sentence is about the first one outside, the margin
        is that of the worst: one of the `extremes`, where they are numbers."""
        first = self.first
        if first is None:
            return None
        margin = self._least_margin([first.judgement, *self._judged(extremes)])
        head = f"{self.outside} of {count} samples outside; the first, number {first.index + 1} at {first.at:.3f} s: "
        sentence = head + first.judgement.sentence
        return replace(first.judgement, sentence=sentence, margin=margin, place=self.place)

    def _judged(self, values: Iterable[Any]) -> list[Judgement]:
        assert self._bound is not None
        return [self._bound.judge(value) for value in values]

    @staticmethod
    def _least_margin(judgements: Iterable[Judgement]) -> float | None:
        return min((each.margin for each in judgements if each.margin is not None), default=None)

    def empty(self) -> Judgement:
        """The verdict on a stream without samples, whose limit asks for nothing that is there."""
        return Judgement(True, self._written, "no sample arrived, as it may be", place=self.place)

    def whole(self, count: int, extremes: list[Any]) -> Judgement:
        """The verdict on a stream that is complete; the margin is the least of all samples: that of the extreme ones."""
        if (broken := self.broken(count, extremes)) is not None:
            return broken
        if self._bound is None:
            return Judgement(False, self._written, "no sample arrived that could be judged", place=self.place)
        if count < getattr(self._bound, "least", 1):
            lonely = self._bound.judge(extremes[0])
            return replace(lonely, passed=False, sentence="one sample arrived: nothing to rise above", place=self.place)
        judgements = self._judged(extremes)
        first = judgements[0]
        sentence = f"all {count} samples satisfy: {first.limit}"
        return replace(first, sentence=sentence, margin=self._least_margin(judgements), place=self.place)
