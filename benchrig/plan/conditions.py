"""`only_if`: what has to hold of given and saved values for a step, or a limit, to be part of a run."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, NamedTuple, TypeAlias

from benchrig.plan.given_spec import number_in
from benchrig.plan.substitution import Room, substitute
from benchrig.plan.tree import StepPlan
from benchrig.source.nodes import as_written
from benchrig.source.problem import Problems
from benchrig.source.references import references
from benchrig.source.shape import Misfit, Reader
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar
from benchrig.steps import Step
from benchrig.values.judging import Judgement, Kind, kind_of, shown, typed
from benchrig.values.limit import Limit
from benchrig.values.quantity import Quantity, as_number, is_number
from benchrig.values.value import Word


class Kinds(NamedTuple):
    """What a value is, and its unit."""

    kind: Kind
    unit: str = ""


@dataclass(frozen=True)
class Condition:
    """One value and what must hold of it. `limit` is None where it waits for the run, or is wrong."""

    name: str
    limit: Limit | None
    key: Scalar
    node: Node

    @property
    def identity(self) -> tuple[str, str]:
        """The same for two that say the same."""
        return self.name, repr(as_written(self.node))


def of_step(plan: StepPlan) -> tuple[Condition, ...]:
    """Those of the step itself."""
    return tuple(_conditions(plan.node.get("only_if"), getattr(_model(plan), "only_if", None)))


def of_limits(plan: StepPlan) -> dict[str, tuple[Condition, ...]]:
    """Those of its limits, by reading."""
    model = _model(plan)
    expect = model.expect if model is not None else {}
    limits = expect if isinstance(expect, dict) else {}
    return {
        reading: tuple(_conditions(node, getattr(limits.get(reading), "only_if", None)))
        for reading, node in _of_limits(plan)
    }


def _of_limits(plan: StepPlan) -> Iterator[tuple[str, MappingNode]]:
    """What is written under `only_if` of its limits, by reading."""
    expected = plan.node.get("expect")
    for reading, (_, limit) in expected.entries.items() if isinstance(expected, MappingNode) else ():
        node = limit.get("only_if") if isinstance(limit, MappingNode) else None
        if isinstance(node, MappingNode):
            yield str(reading), node


def all_of(plan: StepPlan) -> Iterator[Condition]:
    yield from of_step(plan)
    for conditions in of_limits(plan).values():
        yield from conditions


def _model(plan: StepPlan) -> Step | None:
    return plan.step or plan.outline


def _conditions(node: Node | None, limits: Any) -> Iterator[Condition]:
    for name, (key, part) in node.entries.items() if isinstance(node, MappingNode) else ():
        limit = limits.get(name) if isinstance(limits, dict) else None
        waits = not isinstance(limit, Limit) or next(references(part), None) is not None
        yield Condition(str(name), None if waits else limit, key, part)


# --- whether it holds


def judged(limit: Limit, value: Any, kinds: Kinds | None) -> tuple[Judgement, Any, str]:
    """The judgement, with the value and the unit that it is about. Misfit where the limit does not apply to the value."""
    value, kind, unit = _as_kind(value, kinds)
    return limit.bind(kind, unit).judge(value), value, unit


def _as_kind(value: Any, kinds: Kinds | None) -> tuple[Any, Kind, str]:
    """A value of the run as the limit has it."""
    if kinds is not None and kinds.kind == "number" and not isinstance(value, Word):
        number = number_in(value, kinds.unit)
        return (value if number is None else number), "number", kinds.unit
    if kinds is not None:
        return (str(value) if kinds.kind == "text" else value), kinds.kind, kinds.unit
    if isinstance(value, Quantity):
        return as_number(value.number), "number", value.unit.symbol
    return value, kind_of(value), ""


class Unsatisfied(NamedTuple):
    """Why a step, or a limit, is no part of this run."""

    sentence: str


class Missing(NamedTuple):
    """A value that nothing gave, so that nobody knows."""

    name: str


class Undecided(NamedTuple):
    """The unit gave a word where a condition is about a number: nobody knows whether it holds."""

    sentence: str


class Unfit(NamedTuple):
    """A value does not fit where a condition uses it, or its limit does not apply to it."""

    sentence: str


Decision: TypeAlias = Unsatisfied | Missing | Undecided | Unfit | None


class Decided(NamedTuple):
    """What the conditions of a step, and of its limits by reading, come to in a run."""

    step: Decision = None
    limits: Mapping[str, Decision] = MappingProxyType({})

    @property
    def left_out(self) -> dict[str, str]:
        """The limits that are no part of the run, and why."""
        return {reading: why.sentence for reading, why in self.limits.items() if isinstance(why, Unsatisfied)}

    @property
    def undecided(self) -> Undecided | None:
        """What keeps a condition from being decided."""
        return next((why for why in (self.step, *self.limits.values()) if isinstance(why, Undecided)), None)


def in_run(plan: StepPlan, node: MappingNode, written: Mapping[str, Limit], values: Mapping[str, Any]) -> Any:
    """The conditions of `node`, in a step, with the values of the run: as they are `written`, where nothing waits for
    these. Missing; Misfit for a value that does not fit where it is used."""
    if plan.step is not None:
        return written
    for name, _ in references(node):
        if name not in values:
            return Missing(name)
    problems = Problems()
    limits = Reader(problems).read(substitute(node, values, Room(problems)), dict[str, Limit])
    if problems.found:
        raise Misfit(problems.found[0].message, problems.found[0].advice)
    return limits


def why_left_out(plan: StepPlan, values: Mapping[str, Any], kinds: Mapping[str, Kinds]) -> Decision:
    """Why a step is no part of the run, or why nobody knows that; None where it is. Misfit."""
    node = plan.node.get("only_if")
    return (
        None
        if not isinstance(node, MappingNode)
        else _decided(plan, node, plan.step and plan.step.only_if, values, kinds)
    )


def decide(plan: StepPlan, values: Mapping[str, Any], kinds: Mapping[str, Kinds]) -> Decided:
    """All conditions of a step, with the values that there are when it is its turn."""
    if not plan.conditions:
        return Decided()
    try:
        return Decided(why_left_out(plan, values, kinds), dict(_of_each_limit(plan, values, kinds)))
    except Misfit as misfit:
        return Decided(Unfit(misfit.message))


def _of_each_limit(
    plan: StepPlan, values: Mapping[str, Any], kinds: Mapping[str, Kinds]
) -> Iterator[tuple[str, Decision]]:
    for reading, node in _of_limits(plan):
        written = plan.step.expect[reading].only_if if plan.step is not None else {}
        yield reading, _decided(plan, node, written, values, kinds)


def _decided(
    plan: StepPlan, node: MappingNode, written: Any, values: Mapping[str, Any], kinds: Mapping[str, Kinds]
) -> Decision:
    conditions = in_run(plan, node, written or {}, values)
    return conditions if isinstance(conditions, Missing) else unsatisfied(conditions, values, kinds)


def part_of(nodes: Iterable[StepPlan], values: Mapping[str, Any], kinds: Mapping[str, Kinds]) -> Iterator[StepPlan]:
    """The steps that these values, which do not change in the run, do not leave out."""
    for step in nodes:
        try:
            why = why_left_out(step, values, kinds)
        except Misfit:
            why = None  # the run says so
        if not isinstance(why, Unsatisfied):
            yield step
            yield from part_of(step.children, values, kinds)


def unsatisfied(conditions: Mapping[str, Limit], values: Mapping[str, Any], kinds: Mapping[str, Kinds]) -> Decision:
    """What keeps conditions from holding; None when all hold. One that does not hold decides, whatever is missing or
    not decided. Misfit where a limit does not apply to its value."""
    unknown: Decision = None
    for name, limit in conditions.items():
        if name not in values:
            unknown = unknown or Missing(name)
            continue
        judgement, value, unit = judged(limit, values[name], kinds.get(name))
        if judgement.passed:
            continue
        if not _needs_number(limit, value, kinds.get(name)):
            return Unsatisfied(f"only if {name} {judgement.limit}; {name} is {shown(value, unit)}")
        said = f"the condition {name} {judgement.limit} cannot be decided: {name} is {shown(value)}"
        unknown = unknown or Undecided(said)
    return unknown


# Keys that no word in place of a number can satisfy or break.
_OF_NUMBERS = frozenset({"min", "above", "max", "below", "nominal", "bits"})


def _needs_number(limit: Limit, value: Any, kinds: Kinds | None) -> bool:
    """Whether the limit is about a number, or a day, where the value is a word: nobody knows what it would be."""
    is_word = isinstance(value, Word) or (kinds is not None and kinds.kind == "number" and isinstance(value, str))
    if not is_word:
        return False
    return not _OF_NUMBERS.isdisjoint(limit.keys()) or any(_is_measure(each) for each in _compared(limit))


def _compared(limit: Limit) -> list[Any]:
    keys = limit.keys()
    one_of = limit.one_of if "one_of" in keys else []
    return [*one_of, *(getattr(limit, key) for key in ("equals", "differs") if key in keys)]


def _is_measure(value: Any) -> bool:
    """A number or a quantity, however it is written."""
    value = typed(value)
    if isinstance(value, str) and not isinstance(value, Word):
        with contextlib.suppress(Misfit):
            value = Quantity.from_source(value)
    return isinstance(value, Quantity) or is_number(value)
