"""The readings of the steps in a composite step, as its limits name them: STEP.READING, STEP.READING.p95."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from benchrig.plan.tree import StepPlan, every_step
from benchrig.source.shape import Misfit
from benchrig.steps import Step
from benchrig.steps.base import ReadingType, Rounds
from benchrig.steps.composite import InnerReading
from benchrig.values.evidence import estimate_of
from benchrig.values.spread import spread

_STATISTIC = re.compile(r"(.+)\.(p[1-9][0-9]?(?:\.[0-9]+)?|mean|spread)")
_COUNT = re.compile(r" \([0-9]+\)$")
_ANY = ReadingType("any")


def readings_of(plan: StepPlan, step: Step) -> Mapping[str, ReadingType] | None:
    """The readings that a step has, those of the steps in it too; None when they are known only in the run. Misfit."""
    own = step.readings(plan.names)
    return own if own is None or not plan.parts else _Both(own, InnerReadings(plan))


@dataclass(frozen=True)
class _Both(Mapping[str, ReadingType]):
    """The readings of a composite step: its own come first."""

    own: Mapping[str, ReadingType]
    inner: InnerReadings

    def __getitem__(self, name: str) -> ReadingType:
        return self.own[name] if name in self.own else self.inner[name]

    def __iter__(self) -> Iterator[str]:
        yield from self.own
        yield from self.inner

    def __len__(self) -> int:
        return sum(1 for _ in self)


class InnerReadings(Mapping[str, ReadingType]):
    """Of all steps in a composite one, by name."""

    def __init__(self, plan: StepPlan) -> None:
        self._plan = plan

    @cached_property
    def _called(self) -> dict[str, StepPlan]:
        """By the shortest that a limit may call them: a number that only tells one from steps elsewhere may be left out."""
        steps = [*every_step(self._plan.children)]
        short = [_COUNT.sub("", step.name) for step in steps]
        often = Counter([*short, *(step.name for step in steps)])
        return {
            (name if often[name] <= 1 + (name == step.name) else step.name): step
            for name, step in zip(short, steps, strict=True)
        }

    @cached_property
    def _by_name(self) -> dict[str, StepPlan]:
        return self._called | {step.name: step for step in self._called.values()}

    def called(self, name: str) -> str | None:
        """The whole name of the step that is meant."""
        step = self._by_name.get(name)
        return None if step is None else step.name

    @property
    def steps(self) -> dict[str, bool]:
        """What the steps may be called, and whether each runs in rounds of a repetition in it."""
        repeated = {each.id for step in every_step(self._plan.children) if step.role == "repeat"
                    for each in every_step(step.children)}  # fmt: skip
        return {name: step.id in repeated for name, step in self._by_name.items()}

    def find(self, name: str) -> InnerReading | None:
        """What is meant; None for what no step in it has. Of several steps the one with the longest name is."""
        for called, step in self._candidates(name):
            rest = name[len(called) + 1 :]
            if (own := self._type(step, rest)) is not None:
                return InnerReading(step.name, rest, unit=own.unit)
            match = _STATISTIC.fullmatch(rest)
            if match and (kind := self._type(step, match[1])) and kind.kind in ("number", "any"):
                return InnerReading(step.name, match[1], match[2], kind.unit)
        return None

    def _candidates(self, name: str) -> Iterator[tuple[str, StepPlan]]:
        dots = [index for index, character in enumerate(name) if character == "."]
        return ((name[:dot], self._by_name[name[:dot]]) for dot in reversed(dots) if name[:dot] in self._by_name)

    def _type(self, step: StepPlan, reading: str) -> ReadingType | None:
        """What a step will give under this name; None for nothing."""
        types = self._types(step)
        if types is not None:
            return types.get(reading)
        match = _STATISTIC.fullmatch(reading)
        return None if match else _ANY

    def _types(self, step: StepPlan) -> Mapping[str, ReadingType] | None:
        outline = step.step or step.outline
        if outline is None or outline.is_open:
            return None
        try:
            return outline.readings(step.names)
        except Misfit:
            return None

    def __getitem__(self, name: str) -> ReadingType:
        found = self.find(name)
        if found is None:
            raise KeyError(name)
        kind = self._type(self._by_name[found.step], found.reading) or _ANY
        if not found.statistic:
            return replace(kind, many=True)
        if kind.kind == "any":  # with a unit that is known in the run alone
            return kind
        unit = spread(0, 0, kind.unit)[1] if found.statistic == "spread" else kind.unit
        doc = f"{found.statistic} over the rounds"
        return ReadingType("number", unit, doc, rounds=None if kind.many else self._rounds(found))

    def _rounds(self, found: InnerReading) -> Rounds | None:
        """What a statistic of one value a round is estimated from."""
        estimate = estimate_of(found.statistic)
        if estimate is None or self._plan.role != "repeat" or self.steps[found.step]:
            return None
        return Rounds(estimate, getattr(self._plan.step, "most_rounds", None))

    def __iter__(self) -> Iterator[str]:
        """Without statistics."""
        for name, step in self._called.items():
            yield from (f"{name}.{reading}" for reading in self._types(step) or ())

    def __len__(self) -> int:
        return sum(1 for _ in self)
