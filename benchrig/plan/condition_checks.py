"""Conditions that could leave out a step, or take it in, by a slip: unknown names, values that cannot be, wrong units."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from benchrig.plan.checks import never
from benchrig.plan.conditions import Condition, Kinds, all_of, judged, of_limits, of_step
from benchrig.plan.given_spec import Given, apart
from benchrig.plan.inner import readings_of
from benchrig.plan.tree import StepPlan
from benchrig.plan.worlds import never_together
from benchrig.source.nodes import locate
from benchrig.source.problem import Problems, suggest
from benchrig.source.references import has_reference
from benchrig.source.shape import Misfit, Reader, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar
from benchrig.source.yaml import Sequence as ListNode
from benchrig.steps.base import ReadingType
from benchrig.steps.composite import Composite
from benchrig.values.judging import kind_of, typed
from benchrig.values.limit import Limit
from benchrig.values.quantity import Quantity, is_number
from benchrig.values.units import dimension_of


@dataclass
class ConditionChecks:
    """Of one plan; `tables` are the names in its variants, each with its table."""

    problems: Problems
    given: Mapping[str, Given]
    tables: Mapping[str, str]
    # what is known of the values that conditions may name, as far as the steps have been looked at
    _types: dict[str, list[ReadingType | None]] = field(default_factory=dict)
    _inside: dict[str, Kinds | None] = field(default_factory=dict)
    _listed: dict[str, list[Kinds | None]] = field(default_factory=dict)
    # how many rounds the repetition at hand has, where that is known
    _rounds: int | None = None
    # all that a value can be, where the plan lists it
    words: dict[str, list[Any]] = field(default_factory=dict)
    all: list[Condition] = field(default_factory=list)

    def __post_init__(self) -> None:
        for name, spec in self.given.items():
            if spec.listed:
                self.words[name] = [*spec.listed]

    def look_at(self, steps: Sequence[StepPlan], around: tuple[Condition, ...] = ()) -> None:
        """In their order; what a composite step saves is there after what is in it. `around` are the conditions of the
        steps that these are in."""
        for step in steps:
            for condition in all_of(step):
                self.all.append(condition)
                self._check(condition)
            self._empty(step)
            own = (*around, *of_step(step))
            self._check_together(step, own)
            outside, rounds = {**self._inside}, self._rounds
            self._values_inside(step)
            self.look_at(step.children, own)
            self._inside, self._rounds = outside, rounds
            self._saves(step)

    @property
    def kinds(self) -> dict[str, Kinds]:
        """What values are, where that is known and the same wherever they come from."""
        known = {name: Kinds(*spec.kind) for name, spec in self.given.items()}
        found: dict[str, set[Kinds | None]] = {name: {*kinds} for name, kinds in self._listed.items()}
        for name, types in self._types.items():
            kinds = {Kinds(each.kind, each.unit) if each and each.kind != "any" else None for each in types}
            found[name] = found.get(name, set()) | kinds
        same = {name: kinds.pop() for name, kinds in found.items() if len(kinds) == 1}
        return {name: kind for name, kind in same.items() if kind is not None} | known

    # --- what is known

    def _values_inside(self, step: StepPlan) -> None:
        """What a repetition gives the steps in it."""
        if not issubclass(step.kind, Composite):
            return
        names = step.kind.values_inside(step.node)
        for name, place in names.items():
            listed = locate(step.node, (step.kind.verb, name))
            if isinstance(listed, ListNode):
                values = [item.value for item in listed.items if isinstance(item, Scalar)]
                self.words.setdefault(name, []).extend(values)
                self._listed.setdefault(name, []).append(None if has_reference(listed) else _kinds_of(values))
            self._inside[name] = Kinds("number") if place is None else self._listed.get(name, [None])[-1]
        if names:
            self._rounds = getattr(step.step or step.outline, "most_rounds", None)

    def _saves(self, step: StepPlan) -> None:
        saved = step.node.get("save")
        if isinstance(saved, MappingNode):
            types = self._types_of(step) or {}
            for reading, (_, name) in saved.entries.items():
                if isinstance(name, Scalar):
                    self._types.setdefault(str(name.value), []).append(types.get(str(reading)))

    def _types_of(self, step: StepPlan) -> Mapping[str, ReadingType] | None:
        model = step.step or step.outline
        if model is None or is_late(model.expect) or model.is_open:
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
            kinds = self._inside[name]
            if condition.limit is not None and self._fits(condition, [kinds]):
                self._report(condition, _of_words(name, condition.limit, self.words.get(name), kinds))
                if name == "round":
                    self._report(condition, _of_rounds(condition.limit, self._rounds))
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

    def _check_together(self, step: StepPlan, own: tuple[Condition, ...]) -> None:
        """See that no given value keeps a step, or a limit, out of every run. A file of steps is there for other plans
        too: what is written in it says nothing together with what is around it here."""
        kinds = {name: Kinds(*spec.kind) for name, spec in self.given.items()}
        for each in (own, *((*own, *limit) for limit in of_limits(step).values() if limit)):
            last = each[-1] if each else None
            fixed = [one for one in each if one.name in self.given and last and _in_one_file(one, last)]
            if last and never_together(fixed, self.words, kinds) == last.name:
                message = f"no '{last.name}' satisfies this and the conditions around it, so no run has it"
                self.problems.add(last.key.place, message, "change the one or the other")

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


def _in_one_file(one: Condition, other: Condition) -> bool:
    return one.key.place.source is other.key.place.source


def _kinds_of(values: Sequence[Any]) -> Kinds | None:
    """What all values of a list are; None where they are of several kinds."""
    units = [_unit_of(value) for value in values]
    alike = {
        (kind_of(typed(value), unit), unit and dimension_of(unit)) for value, unit in zip(values, units, strict=True)
    }
    return Kinds(kind_of(typed(values[0]), units[0]), units[0]) if len(alike) == 1 else None


def _unit_of(value: Any) -> str:
    """That of a quantity; '' of anything else."""
    try:
        return Quantity.from_source(value).unit.symbol if isinstance(value, str) else ""
    except Misfit:
        return ""


def _of_words(name: str, limit: Limit, words: Sequence[Any] | None, kinds: Kinds | None) -> Iterator[Misfit]:
    """What keeps a limit from being satisfied by any of these values; values in it that are none of them."""
    if words is None:
        return
    texts = [str(word) for word in words]
    said = f"{name} is never that: it is one of {', '.join(texts)}"
    try:
        strangers = [
            (path, value) for path, value in limit.named() if not _passes_any(Limit(equals=value), words, kinds)
        ]
        yield from (Misfit(said, suggest(str(value), texts), path) for path, value in strangers)
        if not strangers and not _passes_any(limit, words, kinds):
            yield Misfit(said, "write a limit within")
    except Misfit as misfit:
        yield misfit


def _passes_any(limit: Limit, words: Sequence[Any], kinds: Kinds | None) -> bool:
    return any(judged(limit, word, kinds)[0].passed for word in words)


def _of_rounds(limit: Limit, most: int | None) -> Iterator[Misfit]:
    """What keeps a limit from being satisfied by the number of any round."""
    ends: dict[str, Any] = {"min": 1} if most is None else {"min": 1, "max": most}
    own, bound = Limit(**ends).bind("number"), limit.bind("number")
    wrong = [
        path for path, value in limit.named() if is_number(value) and not (own.passes(value) and value == int(value))
    ]
    if wrong or apart(own, bound):
        said = "is a whole number from 1 on" if most is None else f"is a whole number from 1 to {most}"
        yield Misfit(f"round {said}, so this never holds", "write a limit within", wrong[0] if wrong else ())


def _of_streams(limit: Limit) -> Iterator[Misfit]:
    if limit.needs_samples:
        yield Misfit(
            "a condition is about one value, and rising needs several", "compare with min or above", ("rising",)
        )
