"""What a plan asks of a radio that does not offer it: found without opening the radio."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

import msgspec

from benchrig.plan.inner import InnerReadings, readings_of
from benchrig.plan.model import Plan
from benchrig.plan.requirements import unproven
from benchrig.plan.tree import StepPlan, every_step, place_text
from benchrig.radio.offers import (
    CANNOT,
    HIDDEN,
    LACKS,
    MAY_FAIL,
    NO_CCCD,
    PARTLY,
    READ_IS_HEARD,
    hidden_attribute,
    is_cccd,
    unjudged,
)
from benchrig.radio.security_offers import MAY_LACK, barred
from benchrig.radio.table import Address
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar
from benchrig.steps import Step
from benchrig.steps.attribute import AttributeName
from benchrig.steps.repeat import SHARE
from benchrig.steps.sequential import DECISION
from benchrig.values.confident import allowance


def remarks(plan: Plan, kind: str) -> Iterator[tuple[str, str]]:
    """('file:line', sentence) for each. `kind` of radio as in radio/offers.py."""
    for step in plan.steps:
        if why := CANNOT[kind].get(step.kind.verb):
            yield place_text(step.place), f"'{step.name}' cannot be done: {why}"
        yield from _barred(step, kind)
        yield from _not_judged(step, kind, plan)
        yield from _not_shown(step, kind)
        yield from _not_everywhere(step, MAY_FAIL[kind])
        if kind == "host" and step.parts:
            yield from _read_and_heard(step)


def hints(plan: Plan) -> Iterator[tuple[str, str]]:
    """The same for what steps prove less than their reader may think, on any radio."""
    for step in plan.steps:
        for hint in step.step.hints(step.names) if step.step is not None else ():
            yield place_text(step.place), f"'{step.name}' {hint}"
        yield from _allowances(step)
        yield from _forgiven(step)
    yield from unproven(plan.requirements, plan.steps)


def _allowances(step: StepPlan) -> Iterator[tuple[str, str]]:
    """What limits with a confidence allow in the rounds that the plan has."""
    if step.step is None or not step.parts:
        return
    for name, limit in step.step.limits.items():
        if (confidence := getattr(limit, "confidence", None)) is None:
            continue
        kind = (readings_of(step, step.step) or {})[name]
        if kind.rounds is None or kind.rounds.planned is None:
            continue
        bound = limit.bind(kind.kind, kind.unit)
        if said := allowance(bound, confidence, kind.rounds.estimate, kind.rounds.planned):
            yield step.limit_place(name), f"{name}: {said}"


def _forgiven(step: StepPlan) -> Iterator[tuple[str, str]]:
    """What goes wrong in rounds that have not failed, where the share of failed rounds is to be shown."""
    limits = step.step.limits if step.step is not None and step.parts else {}
    if DECISION not in limits and getattr(limits.get(SHARE), "confidence", None) is None:
        return
    for inner in every_step(step.children):
        if inner.step is not None and inner.step.attempts > 1:
            said = f"'{inner.name}' is tried up to {inner.step.attempts} times: a round in which a later attempt passes"
            yield place_text(inner.place), f"{said} has not failed"
        if "only_if" in inner.node.entries and len(step.children) > 1:
            yield place_text(inner.place), f"'{inner.name}' has a condition: a round that leaves it out has not failed"


def _barred(step: StepPlan, kind: str) -> Iterator[tuple[str, str]]:
    """Of a step whose values come in the run, what holds for any."""
    for bar in barred(kind, step.step or step.kind):
        cannot = "cannot be done" if bar.everywhere else "does not work everywhere"
        yield place_text(step.place), f"'{step.name}' {cannot}: {bar.why}"


def _not_judged(step: StepPlan, kind: str, plan: Plan) -> Iterator[tuple[str, str]]:
    expected = step.node.get("expect")
    for name in expected.entries if isinstance(expected, MappingNode) else ():
        limit = f"{step.kind.verb}.{name}"
        if why := _lacking(step, name, kind):
            so = (
                "the run may pass without it"
                if limit in plan.may_lack
                else f"a run passes with may_lack: [{limit}] only"
            )
            yield step.limit_place(name), f"the limit on {name} is not judged: {why}; {so}"
        elif why := MAY_LACK[kind].get(limit, ""):
            yield step.limit_place(name), f"the limit on {name} is not judged everywhere: {why}"


def _lacking(step: StepPlan, name: str, kind: str) -> str:
    """Why this kind of radio has no such reading; '' when it has. A limit that waits for a value is looked at in the run."""
    if step.parts and (inner := InnerReadings(step).find(name)) is not None:
        meant = next(each for each in every_step(step.children) if each.name == inner.step)
        return _lacking(meant, inner.reading, kind)
    if step.step is None:
        return LACKS[kind].get(f"{step.kind.verb}.{name}", "")
    return unjudged(LACKS[kind], PARTLY[kind], step.step, name, step.names)


def _not_shown(step: StepPlan, kind: str) -> Iterator[tuple[str, str]]:
    for attribute in _attributes(step):
        name, place = attribute.text, place_text(attribute.place)
        if hidden_attribute(name, HIDDEN[kind], step.names):
            yield place, f"'{name}' cannot be reached: the operating system hides its service"
        if kind == "host" and step.kind.writes and is_cccd(name, step.names):
            yield place, NO_CCCD


def _attributes(step: StepPlan) -> Iterator[Scalar]:
    """What the step is about: one attribute, or several by name. Others (groups, repetitions) may have such a word there
    too."""
    about = step.node.get(step.kind.verb)
    if isinstance(about, Scalar) and about.text and _names_attribute(step.kind):
        yield about
    elif isinstance(about, MappingNode) and step.kind.listens:
        yield from (name for name, _ in about.entries.values())


@cache
def _names_attribute(kind: type[Step]) -> bool:
    """Whether an attribute is behind the verb."""
    return any(field.name == kind.verb and field.type is AttributeName for field in msgspec.structs.fields(kind))


def _read_and_heard(step: StepPlan) -> Iterator[tuple[str, str]]:
    """Attributes that a step inside reads while the step listens to them."""
    heard = {_address(step, name) for name in _attributes(step)} - {None}
    for inner in every_step(step.children) if heard else ():
        for name in _attributes(inner) if inner.kind.reads and inner.device == step.device else ():
            if _address(inner, name) in heard:
                yield place_text(name.place), f"'{inner.name}' cannot be done: {READ_IS_HEARD}"


def _address(step: StepPlan, name: Scalar) -> Address | None:
    try:
        return step.names.meaning(name.text).address
    except Misfit:
        return None


def _keyed(step: StepPlan) -> Iterator[MappingNode]:
    """The step, and what it says of each of several attributes."""
    about = step.node.get(step.kind.verb)
    parts = [part for _, part in about.entries.values()] if isinstance(about, MappingNode) else []
    yield from (part for part in (step.node, *parts) if isinstance(part, MappingNode))


def _not_everywhere(step: StepPlan, may_fail: Mapping[tuple[str, str, Any], str]) -> Iterator[tuple[str, str]]:
    for (verb, key, value), why in may_fail.items():
        for part in _keyed(step) if verb == step.kind.verb else ():
            node = part.get(key)
            if isinstance(node, Scalar) and node.value == value:
                yield place_text(node.place), f"'{key}: {node.text}' does not work everywhere: {why}"
