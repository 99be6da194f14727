"""What references are known to stand for before the run: arithmetic and limits that could never be right are told then."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from benchrig.plan.given_spec import Given
from benchrig.plan.inner import readings_of
from benchrig.plan.tree import StepPlan
from benchrig.source.problem import Problems
from benchrig.source.references import REFERENCE, expressions
from benchrig.source.shape import BAD, LATE, Misfit, Reader, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar
from benchrig.steps import Step
from benchrig.steps.attribute import AttributeName
from benchrig.steps.base import ReadingType
from benchrig.values.arithmetic import Likely, Sample, Unknown, likely
from benchrig.values.format import Format, FormatSpec
from benchrig.values.judging import Kind
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import MEASURES
from benchrig.values.quantity import Quantity, is_number
from benchrig.values.units import dimension_of

# Keys of a limit that take one value.
_SINGLE = {*MEASURES, "equals", "differs"}


def check_kinds(problems: Problems, given: Mapping[str, Given], steps: Sequence[StepPlan]) -> None:
    """Expressions whose values do not go together, and references that do not fit the reading of their limit."""
    kinds = _Kinds(problems)
    for name, spec in given.items():
        kinds.take(name, *_kind_of_given(spec))
    for step in steps:
        kinds.check(step)


class _Kinds:
    """What is known of the values, at the step that is looked at."""

    def __init__(self, problems: Problems) -> None:
        self._problems = problems
        self._samples: dict[str, Any] = {"now": Sample("text")}
        self._taken: set[str] = set()
        self._doubtful: set[str] = set()

    def take(self, name: str, kind: Kind | None, unit: str) -> None:
        """A value that is there from now on. Of one that has been something else nobody knows what it is."""
        sample = None if kind in (None, "any") else self._sample(name, kind, unit)
        before = self._samples.pop(name, None)
        if name in self._taken and (before is None or sample is None or _about(before) != _about(sample)):
            self._doubtful.add(name)
        self._taken.add(name)
        if sample is not None and name not in self._doubtful:
            self._samples[name] = sample

    def _sample(self, name: str, kind: Kind | None, unit: str) -> Any:
        """Numbers that differ: a difference of two values is not 0."""
        if kind != "number":
            return Sample(kind or "any")
        number = Fraction(10007 + 7919 * len(self._samples), 101)
        return Likely(number, unit, name) if unit else number

    def check(self, step: StepPlan) -> None:
        if not (step.references or step.parts or "save" in step.node.entries):
            return  # most steps of a long plan
        model = step.step or step.outline
        self._check_expressions(step)
        for child in step.children:
            self.check(child)
        if model is not None and step.references:
            self._check_written(step, model)
        types = self._types(step, model) if model is not None else {}
        if step.references:
            self._check_limits(step, types)
            self._check_conditions(step)
        if model is not None and isinstance(model.save, dict):
            for reading, name in model.save.items():
                kind = types.get(reading)
                if isinstance(name, str):
                    self.take(name, kind.kind if kind else None, kind.unit if kind else "")

    def _check_expressions(self, step: StepPlan) -> None:
        for text, scalar in expressions(step.node):
            try:
                likely(text, scalar.place.source.names, self._samples)
            except Unknown:
                continue
            except Misfit as misfit:
                self._problems.add(scalar.place, f"{text}: {misfit.message}", misfit.advice)

    def _check_written(self, step: StepPlan, model: Step) -> None:
        """A value that is written, against the format that it is written in."""
        node = step.node.get("value")
        sample = self._whole(node) if isinstance(node, Scalar) else None
        form = _form(step, model) if sample is not None else None
        if not isinstance(node, Scalar) or form is None:
            return
        kind, unit = _about(sample)
        if form.kind == "number" and (kind in _NO_NUMBERS or not _goes_with(sample, form.unit)):
            message = f"{node.value} is {_said(kind, unit)}, what is written is {_said('number', form.unit)}"
            self._problems.add(node.place, message, _FIT)

    def _types(self, step: StepPlan, model: Step) -> Mapping[str, ReadingType]:
        """The readings of a step as far as they are known."""
        if model.is_open:
            return {}
        try:
            types = readings_of(step, model) or {}
        except Misfit:
            return {}
        return {**types, **dict(self._worked_out(step))} if model.works_out else types

    def _worked_out(self, step: StepPlan) -> Iterator[tuple[str, ReadingType]]:
        """Of readings that are themselves references."""
        for name, (_, node) in _entries(step.node.get(step.kind.verb)).items():
            if (sample := self._whole(node)) is not None:
                yield str(name), ReadingType(*_about(sample))

    def _whole(self, node: Node) -> Any:
        """A sample of what a reference stands for that is the whole scalar; None for another, or an unknown one."""
        match = REFERENCE.fullmatch(node.value) if isinstance(node, Scalar) and isinstance(node.value, str) else None
        if match is None or match[0] == "$$":
            return None
        try:
            return likely(match[1].strip(), node.place.source.names, self._samples)
        except (Unknown, Misfit):
            return None

    def _check_limits(self, step: StepPlan, types: Mapping[str, ReadingType]) -> None:
        works_out = step.kind.works_out
        for reading, (_, limit) in _entries(step.node.get("expect")).items():
            kind = types.get(str(reading))
            if kind is None or kind.kind == "any":
                continue
            self._check_bounds(limit, kind, "the reading")
            if works_out:
                self._check_whole(step, str(reading), limit, kind)

    def _check_conditions(self, step: StepPlan) -> None:
        """Limits of conditions, on values that are known by now."""
        limits = _entries(step.node.get("expect")).values()
        written = [step.node.get("only_if"), *(_entries(limit).get("only_if", (None, None))[1] for _, limit in limits)]
        for name, (_, limit) in (entry for node in written for entry in _entries(node).items()):
            if (sample := self._samples.get(str(name))) is not None:
                self._check_bounds(limit, ReadingType(*_about(sample)), str(name))

    def _check_bounds(self, limit: Node, kind: ReadingType, what: str) -> None:
        for key, (_, node) in _entries(limit).items():
            if isinstance(node, Scalar) and key in _SINGLE and (sample := self._whole(node)) is not None:
                self._check_bound(node, str(key), sample, kind, what)

    def _check_whole(self, step: StepPlan, reading: str, node: Node, kind: ReadingType) -> None:
        """A limit on what is worked out: nobody else knows its kind."""
        limit = Reader(Problems()).read(node, Limit)
        if limit is BAD or limit is LATE or is_late(limit):
            return
        for wrong in limit.misfits_for(kind.kind, kind.unit):
            Reader(self._problems).misfit(node, Misfit(wrong.message, wrong.advice, wrong.path))

    def _check_bound(self, node: Scalar, key: str, sample: Any, kind: ReadingType, what: str) -> None:
        value = _stand_in(sample)
        if value is None:
            return
        given = {key: value}
        if key in ("nominal", "tolerance"):
            given = {"nominal": value, "tolerance": value} | {
                "nominal" if key == "tolerance" else "tolerance": _bare(kind)
            }
        try:
            Limit(**given).bind(kind.kind, kind.unit)
        except Misfit as misfit:
            message = f"{node.value} is {_said(*_about(sample))}, {what} is {_said(kind.kind, kind.unit)}"
            self._problems.add(node.place, message, misfit.advice if "ΔK" in misfit.message else _FIT)


_NO_NUMBERS = ("bytes", "boolean", "time", "list")


def _form(step: StepPlan, model: Step) -> Format | None:
    """The format in which a step writes; None for none, or where it is not known yet."""
    own, subject = getattr(model, "format", None), getattr(model, step.kind.verb, None)
    if isinstance(own, FormatSpec):
        return None if is_late(own) else own.built
    try:
        return step.names.meaning(subject).format if isinstance(subject, AttributeName) and own is None else None
    except Misfit:
        return None


def _goes_with(sample: Any, unit: str) -> bool:
    """Whether a number may be written where the unit is this."""
    if not isinstance(sample, Quantity):
        return isinstance(sample, Sample) or not unit
    try:
        return bool(unit) and sample.to(unit) is not None
    except Misfit:
        return False


_FIT = "use a value of the same kind"


def _kind_of_given(spec: Given) -> tuple[Kind | None, str]:
    """By its limit, else by its default; text may turn out to be a number."""
    try:
        kind, unit = spec.kind
    except Misfit:
        return None, ""
    if kind != "text":
        return kind, unit
    if is_number(spec.default):
        return "number", ""
    try:
        return "number", Quantity.from_source(spec.default).unit.symbol
    except Misfit:
        return None, ""


def _about(sample: Any) -> tuple[Kind, str]:
    if isinstance(sample, Sample):
        return sample.kind, ""
    return "number", sample.unit.symbol if isinstance(sample, Quantity) else ""


def _stand_in(sample: Any) -> Any:
    """A value like those that the sample stands for, as a limit takes it; None where there are many kinds of these."""
    if isinstance(sample, Sample):
        return {"bytes": b"\0", "boolean": True, "time": "2026-01-01T00:00:00"}.get(sample.kind)
    return sample if isinstance(sample, Quantity) else Decimal(1)


def _bare(kind: ReadingType) -> Any:
    return Quantity(1, kind.unit) if kind.unit else 1


def _said(kind: Kind, unit: str) -> str:
    if unit:
        return f"a {dimension_of(unit)} in {unit}"
    return {"number": "a number without a unit", "text": "text", "bytes": "bytes", "boolean": "true or false",
            "time": "a date and time", "list": "a list", "any": "of no fixed kind"}[kind]  # fmt: skip


def _entries(node: Node | None) -> Mapping[Any, Any]:
    return node.entries if isinstance(node, MappingNode) else {}
