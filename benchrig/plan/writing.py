"""A plan -> the text that the loader reads as just this plan. What came from a device is escaped, in comments too."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from benchrig.plan.wording import selection_data, spec_data
from benchrig.source.writing import flow, literal, scalar
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.radio.scan import Selection
    from benchrig.steps.attribute import AttributeSpec

_LONGEST_COMMENT = 1000


class Reference(str):
    """The name of a value: `${name}` is written."""

    __slots__ = ()


class Rows(dict[str, Any]):
    """A mapping that is written with a line for each key."""


@dataclass
class StepText:
    """One step; without a verb it is only its remarks."""

    verb: str = ""
    # what stands behind the verb
    subject: Any = None
    # what stands beside it
    keys: dict[str, Any] = field(default_factory=dict)
    # a comment each before the step
    remarks: list[str] = field(default_factory=list)
    # what is expected of readings, and why
    expect: dict[str, Any] = field(default_factory=dict)
    reasons: dict[str, str] = field(default_factory=dict)
    # the steps in it, by the key of their list
    parts: dict[str, Sequence[StepText]] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """What the step is called when it has no name."""
        named = ", ".join(self.subject) if isinstance(self.subject, Mapping) else self.subject
        return self.verb if named is None else f"{self.verb} {named}"

    def hold(self, reading: str, limit: Any, reason: str = "") -> None:
        """Hold a reading to a limit, or say why there is none (None)."""
        if limit is not None:
            self.expect[reading] = limit
        if reason:
            self.reasons[reading] = reason

    def lines(self, indent: int = 2) -> Iterator[str]:
        pad = " " * indent
        yield from comments(self.remarks, indent)
        if self.verb:
            in_rows = isinstance(self.subject, Rows)
            yield f"{pad}- {self.verb}:" + ("" if self.subject is None or in_rows else f" {value(self.subject)}")
            yield from _rows(self.subject if in_rows else {}, indent + 4)
            yield from _rows(self.keys, indent + 2)
            yield from self._inner_lines(indent + 2)
            free = (f"{reading}: {why}" for reading, why in self.reasons.items() if reading not in self.expect)
            yield from comments(free, indent + 2)
        if self.expect:
            yield f"{pad}  expect:"
            yield from _rows(self.expect, indent + 4, self.reasons)

    def _inner_lines(self, indent: int) -> Iterator[str]:
        for key, steps in self.parts.items():
            yield " " * indent + f"{key}:"
            for step in steps:
                yield from step.lines(indent + 2)


@dataclass
class PlanText:
    """A plan; `text` is the file."""

    title: str
    selection: Selection
    attributes: Mapping[str, AttributeSpec]
    steps: Sequence[StepText]
    caution: str = ""
    # comments at the beginning, on the selection, and at the end
    head: Iterable[str] = ()
    reasons: Iterable[str] = ()
    foot: Iterable[str] = ()

    @property
    def text(self) -> str:
        return "\n".join(self._lines()) + "\n"

    def _lines(self) -> Iterator[str]:
        yield from comments(self.head)
        yield f"plan: {_free_text(self.title)}"
        if self.caution:
            yield f"caution: {_free_text(self.caution)}"
        yield "device:"
        yield from comments(self.reasons, 2)
        yield f"  select: {value(selection_data(self.selection))}"
        if self.attributes:
            yield "  attributes:"
        for name, spec in self.attributes.items():
            yield f"    {scalar(name)}: {flow(spec_data(spec))}"
        yield "steps:"
        for step in self.steps:
            yield from step.lines()
        yield from comments(self.foot)


def value(data: Any) -> str:
    """A value within a step or a selection, on one line. `$` would begin a reference there."""
    return flow(_literal(data))


def _literal(data: Any) -> Any:
    """The same with each text as one in which a plan finds no reference."""
    if isinstance(data, Reference):
        return f"${{{data}}}"
    if isinstance(data, Mapping):
        return {_literal(key): _literal(item) for key, item in data.items()}
    if isinstance(data, str):
        return type(data)(literal(data))
    return [*map(_literal, data)] if isinstance(data, Iterable) else data


def _free_text(text: str) -> str:
    """Where no reference may stand."""
    return scalar(text.replace("${", "$ {"))


def comments(sentences: Iterable[str], indent: int = 0) -> Iterator[str]:
    """A line for each sentence."""
    for sentence in sentences:
        yield " " * indent + "# " + plain(sentence, _LONGEST_COMMENT)


def _rows(mapping: Mapping[str, Any], indent: int, reasons: Mapping[str, str] | None = None) -> Iterator[str]:
    for key, item in mapping.items():
        if reasons and key in reasons:
            yield from comments([reasons[key]], indent)
        if isinstance(item, Rows):
            yield " " * indent + f"{scalar(key)}:"
            yield from _rows(item, indent + 2)
        else:
            yield " " * indent + f"{scalar(key)}: {value(item)}"
