"""Conditions that could leave out a step, or take it in, by a slip: unknown names, values that cannot be, wrong units."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from benchrig.plan.checks import never
from benchrig.plan.conditions import Condition, Kinds, all_of, judged
from benchrig.plan.given_spec import Given
from benchrig.plan.inner import readings_of
from benchrig.plan.tree import StepPlan
from benchrig.plan.worlds import named
from benchrig.source.problem import Problems, suggest
from benchrig.source.shape import Misfit, Reader, is_late, locate
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar
from benchrig.source.yaml import Sequence as ListNode
from benchrig.steps.base import COMMON, ReadingType
from benchrig.steps.composite import Composite
from benchrig.values.limit import Limit


@dataclass
class ConditionChecks:
    """Of one plan; `tables` are the names in its variants, each with its table."""

    problems: Problems
    given: Mapping[str, Given]
    tables: Mapping[str, str]
    # what is known of the values that conditions may name, as far as the steps have been looked at
    _types: dict[str, list[ReadingType | None]] = field(default_factory=dict)
    _inside: dict[str, Kinds | None] = field(default_factory=dict)
    # all that a value can be, where the plan lists it
    words: dict[str, list[Any]] = field(default_factory=dict)
    all: list[Condition] = field(default_factory=list)

    def __post_init__(self) -> None:
        for name, spec in self.given.items():
            if "one_of" in spec.keys():  # noqa: SIM118 - no mapping
                self.words[name] = [str(word) for word in spec.one_of]

    def look_at(self, steps: Sequence[StepPlan]) -> None:
        """In their order; what a composite step saves is there after what is in it."""
        for step in steps:
            for condition in all_of(step):
                self.all.append(condition)
                self._check(condition)
            self._empty(step)
            inside = self._values_inside(step)
            self.look_at(step.children)
            for name in inside:
                self._inside.pop(name, None)
            self._saves(step)

    @property
    def kinds(self) -> dict[str, Kinds]:
        """What values are, where that is known and the same wherever they come from."""
        known = {name: Kinds(*spec.kind) for name, spec in self.given.items()}
        for name, types in self._types.items():
            kinds = {Kinds(each.kind, each.unit) if each and each.kind != "any" else None for each in types}
            if len(kinds) == 1 and (kind := kinds.pop()) is not None:
                known[name] = kind
        return known

    # --- what is known

    def _values_inside(self, step: StepPlan) -> list[str]:
        """What a repetition gives the steps in it."""
        if not issubclass(step.kind, Composite):
            return []
        names = step.kind.values_inside(step.node)
        for name, place in names.items():
            listed = locate(step.node, (step.kind.verb, name))
            if isinstance(listed, ListNode):
                self.words.setdefault(name, []).extend(i.value for i in listed.items if isinstance(i, Scalar))
            self._inside[name] = Kinds("number") if place is None else None
        return [*names]

    def _saves(self, step: StepPlan) -> None:
        saved = step.node.get("save")
        if isinstance(saved, MappingNode):
            types = self._types_of(step) or {}
            for reading, (_, name) in saved.entries.items():
                if isinstance(name, Scalar):
                    self._types.setdefault(str(name.value), []).append(types.get(str(reading)))

    def _types_of(self, step: StepPlan) -> Mapping[str, ReadingType] | None:
        model = step.step or step.outline
        if (
            model is None
            or is_late(model.expect)
            or any(is_late(getattr(model, n)) for n in model.__struct_fields__ if n not in COMMON)
        ):
            return None
        try:
            return readings_of(step, model)
        except Misfit:
            return None

    # --- one condition

    def _empty(self, step: StepPlan) -> None:
        node = step.node.get("only_if")
        if node is not None and not getattr(node, "entries", True):
            self.problems.add(node.place, "only_if has no condition", "write a value and its limit, or take it out")

    def _check(self, condition: Condition) -> None:
        name, key = condition.name, condition.key
        if name in self.tables:
            table = self.tables[name]
            message = f"'{name}' is a value of the table '{table}', and no condition"
            self.problems.add(key.place, message, f"write only_if: {{{table}: …}}")
        elif name in self.given:
            self._check_given(condition, self.given[name])
        elif name in self._inside:
            if condition.limit is not None and self._fits(condition, [self._inside[name]]):
                self._report(condition, _of_words(name, condition.limit, self.words.get(name)))
        elif name in self._types:
            self._check_saved(condition, self._types[name])
        else:
            known = {*self.given, *self._types, *self._inside}
            advice = suggest(name, known) or "name it under given:, or save it in an earlier step"
            self.problems.add(key.place, f"nothing before this step gives '{name}' a value", advice)

    def _check_given(self, condition: Condition, spec: Given) -> None:
        if spec.secret:
            message = f"the secret '{condition.name}' would be told by what is left out"
            self.problems.add(condition.key.place, message, "take another value")
        elif condition.limit is not None and self._fits(condition, [Kinds(*spec.kind)]):
            self._report(condition, spec.never(condition.name, condition.limit))

    def _check_saved(self, condition: Condition, types: list[ReadingType | None]) -> None:
        known = [each for each in types if each is not None and each.kind != "any"]
        if condition.limit is None or not self._fits(condition, [Kinds(each.kind, each.unit) for each in known]):
            return
        for each in known:
            self._report(condition, never(condition.limit, each))

    def _fits(self, condition: Condition, kinds: Iterable[Kinds | None]) -> bool:
        """Whether the limit can apply."""
        limit = condition.limit
        if limit is None:
            return False
        wrong = [*_of_streams(limit)]
        for each in filter(None, kinds):
            wrong += limit.misfits_for(each.kind, each.unit)
        self._report(condition, wrong)
        return not wrong

    def _report(self, condition: Condition, misfits: Iterable[Misfit]) -> None:
        for misfit in misfits:
            Reader(self.problems).misfit(condition.node, misfit)


def _of_words(name: str, limit: Limit, words: Sequence[Any] | None) -> Iterator[Misfit]:
    """What keeps a limit from being satisfied by any of these values."""
    try:
        if words is not None and not any(judged(limit, word, None)[0].passed for word in words):
            texts = [str(word) for word in words]
            advice = suggest(str(next(iter(named(limit)), "")), texts)
            yield Misfit(f"{name} is never that: it is one of {', '.join(texts)}", advice)
    except Misfit as misfit:
        yield misfit


def _of_streams(limit: Limit) -> Iterator[Misfit]:
    if "rising" in limit.keys():  # noqa: SIM118 - no mapping
        yield Misfit(
            "a condition is about one value, and rising needs several", "compare with min or above", ("rising",)
        )
