"""Which attributes the steps of a plan are about, which they write, and what else may change the unit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from benchrig.plan.tree import StepPlan
from benchrig.radio.table import Address
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName


class OfAttribute(NamedTuple):
    """An attribute of a device as a step names it. Two names of one attribute have one `key`; two attributes may have, too."""

    key: tuple[str, str | int | None]
    address: Address


class Written(NamedTuple):
    """An attribute that a step writes; `surely` where nothing lets the step leave its value as it was: no condition, no step
    around it, no refusal that is expected."""

    attribute: OfAttribute
    surely: bool


def attributes(steps: Iterable[StepPlan]) -> tuple[list[OfAttribute], list[Written]]:
    """Of several steps one after the other: those whose values earlier steps decide, and those that they write."""
    about: list[OfAttribute] = []
    written: list[Written] = []
    for step in steps:
        writes = step.kind.writes
        for own, attribute in _named(step):
            if own and writes:
                surely = not ("." in step.id or step.is_conditional or "att_error" in step.limit_names)
                written.append(Written(attribute, surely))
            elif not any(each.surely and each.attribute == attribute for each in written):
                about.append(attribute)
    return about, written


def changes_the_unit(step: StepPlan) -> bool:
    """Whether the unit may be another after it: it writes, runs a program, or works the bench."""
    kind = step.kind
    return kind.writes or kind.executes or bool(kind.wires(step.node) and not kind.listens)


def _named(step: StepPlan) -> Iterator[tuple[bool, OfAttribute]]:
    """The attributes that it names, and whether its verb does; none that wait for the run."""
    model = step.step or step.outline
    for field in model.__struct_fields__ if model is not None else ():
        value = getattr(model, field)
        listed = value if isinstance(value, (list, dict)) else [value]
        heard = step.kind.listens and field == step.kind.verb
        for name in listed:
            if isinstance(name, AttributeName) or (heard and isinstance(name, str)):
                yield from _meant(step, name, own=field == step.kind.verb)


def _meant(step: StepPlan, name: str, *, own: bool) -> Iterator[tuple[bool, OfAttribute]]:
    try:
        address = step.names.meaning(name).address
    except Misfit:  # told elsewhere, or the name of something else: 'console'
        return
    last = address.path[-1].uuid if address.path else address.handle
    yield own, OfAttribute((step.device, last), address)
