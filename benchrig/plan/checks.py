"""What can be wrong between the parts of a plan: limits and readings, links, values and their uses."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from pathlib import Path
from typing import Any, TypeAlias, cast

from benchrig.plan.model import Select
from benchrig.plan.possible import impossible, not_offered
from benchrig.plan.tree import StepPlan
from benchrig.plan.variants import Variants
from benchrig.source.expression import Unreadable, names_of, parsed
from benchrig.source.nodes import locate
from benchrig.source.problem import Place, Problems, close, meant, suggest
from benchrig.source.references import expressions, has_reference, references
from benchrig.source.shape import BAD, Misfit, Reader, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar
from benchrig.source.yaml import Sequence as ListNode
from benchrig.steps import Step
from benchrig.steps.attribute import Names
from benchrig.steps.base import ReadingType
from benchrig.steps.composite import Composite
from benchrig.values.catalogue import decimal_uuid
from benchrig.values.confident import never_shown, no_evidence
from benchrig.values.limit import Limit
from benchrig.values.rising import one_value

Types: TypeAlias = Mapping[str, ReadingType]


def check_readings(
    problems: Problems,
    node: MappingNode,
    step: Step,
    readings: Callable[[Step], Types | None],
    *,
    written: bool = True,
    late: bool = True,
) -> None:
    """Attributes that nobody knows, readings the step does not have, limits that cannot apply to them. In the run a
    limit may hold what a unit said: that is no mistake of the plan (`written`), however impossible it is. Without a
    reference in the step (`late`) nothing of it waits for the run."""
    if late and step.is_open:
        return
    try:
        types = readings(step)
    except Misfit as misfit:
        Reader(problems).misfit(node, Misfit(misfit.message, misfit.advice, misfit.path or (step.verb,)))
        return
    if types is None or is_late(step.expect):
        return
    _check_limits(problems, node, "expect", step, types, step.limits, written=written, late=late)
    for (*path, key), limits, on in step.held(types):
        if not is_late(limits):
            within = cast("MappingNode", locate(node, tuple(path)))
            _check_limits(problems, within, key, step, on, limits, written=written, late=late)
    _check_known(problems, node, "save", step, types, step.save if isinstance(step.save, dict) else ())
    _check_samples(problems, node, step, types)


def _check_samples(problems: Problems, node: MappingNode, step: Step, types: Types) -> None:
    """Samples can be kept of streams, levels, and values over rounds which a limit names."""
    if is_late(step.keep_samples) or not step.keep_samples:
        return
    own: Types = getattr(types, "own", types)
    named = (types[name] for name in {*step.limits, *(step.save if isinstance(step.save, dict) else ())} & {*types})
    if not any(kind.many or kind.levels or kind.kind == "any" for kind in (*own.values(), *named)):
        misfit = Misfit(f"this {step.verb} step has no samples to keep", "take out keep_samples", ("keep_samples",))
        Reader(problems).misfit(node, misfit)


def check_names(problems: Problems, node: MappingNode, step: Step, names: Names) -> None:
    """Attributes that nobody knows, where a step names several."""
    if type(step).misfits_of_names is not Step.misfits_of_names:
        for misfit in step.misfits_of_names(names):
            Reader(problems).misfit(node, misfit)


def check_caution(problems: Problems, caution: str, steps: Iterable[StepPlan]) -> None:
    """Steps that may harm the unit need a word to whoever runs the plan."""
    for step in steps if not caution.strip() else ():
        if step.kind.needs_caution:
            message = f"a {step.kind.verb} step may harm the unit, and the plan has no caution"
            problems.add(step.place, message, "add caution: at the top, with what has to be known before the run")


def check_files(problems: Problems, node: MappingNode, step: Step, folder: Path) -> None:
    """Files that cannot be sent, as far as their names are known."""
    if type(step).file_misfits is Step.file_misfits:
        return  # most kinds send none, and a long plan has thousands of them
    if not step.is_open:
        for misfit in step.file_misfits(folder):
            Reader(problems).misfit(node, misfit)


def _check_limits(
    problems: Problems,
    node: MappingNode,
    key: str,
    step: Step,
    types: Types,
    limits: Mapping[str, Any],
    *,
    written: bool,
    late: bool,
) -> None:
    """Those under a key of the step, which are on readings of these types."""
    _check_known(problems, node, key, step, types, limits)
    for name, limit in limits.items():
        kind = types.get(name)
        if kind is not None and kind.kind != "any" and not (late and is_late(limit)):
            needs_more = getattr(limit, "needs_samples", False) and not (kind.many and key == "expect")
            for wrong in (
                *(limit.misfits_for(kind.kind, kind.unit) or (_impossible(limit, kind) if written else ())),
                *([one_value(name)] if needs_more else []),
                *_wrong_words(limit, kind),
                *_never_shown(limit, name, kind),
            ):
                Reader(problems).misfit(node, Misfit(wrong.message, wrong.advice, (key, name, *wrong.path)))
            if kind.uuids:
                _check_uuids(problems, locate(node, (key, name)))


def _impossible(limit: Any, kind: ReadingType) -> Iterable[Misfit]:
    if not isinstance(limit, Limit):
        return ()
    if kind.options:
        return not_offered(limit, kind.options)
    return impossible(limit, kind.form) if kind.form is not None else ()


def never(limit: Any, kind: ReadingType) -> Iterable[Misfit]:
    """What keeps a limit, that applies to such a reading, from ever being satisfied by one, or broken."""
    return (*_impossible(limit, kind), *_wrong_words(limit, kind))


def _wrong_words(limit: Any, kind: ReadingType) -> Iterator[Misfit]:
    """Texts that the reading never is: a limit with one could only fail."""
    if kind.wrong is None or not isinstance(limit, Limit):
        return
    for path, text in limit.named():
        if isinstance(text, str) and (wrong := kind.wrong(text)) is not None:
            yield Misfit(*wrong, path)


def _never_shown(limit: Any, name: str, kind: ReadingType) -> Iterator[Misfit]:
    """What is wrong with the confidence of a limit: the reading has none, or the rounds are too few."""
    confidence = getattr(limit, "confidence", None)
    if confidence is None:
        return
    if kind.rounds is None:
        yield no_evidence(name)
    elif not limit.misfits_for(kind.kind, kind.unit):
        bound = limit.bind(kind.kind, kind.unit)
        wrong = never_shown(bound, confidence, kind.rounds.estimate, kind.rounds.planned)
        yield from [wrong] if wrong is not None else []


def _check_uuids(problems: Problems, limit: Node) -> None:
    """A UUID that is written as a bare decimal number could be meant as hex."""
    for key in ("contains", "lacks", "equals", "differs"):
        listed = locate(limit, (key,))
        for item in listed.items if isinstance(listed, ListNode) else [listed]:
            if (misfit := decimal_uuid(item)) is not None:
                problems.add(item.place, misfit.message, misfit.advice)


def _check_known(
    problems: Problems,
    node: MappingNode,
    key: str,
    step: Step,
    types: Types,
    used: Iterable[str],
) -> None:
    for name in used:
        if name not in types:
            place = _key_place(node, key, name)
            problems.add(place, f"a {step.verb} step has no reading '{name}'", _other_reading(name, types))


# What may end the name of a statistic, right or wrong.
_STATISTIC = re.compile(r"(.+)\.(p[0-9.]*|mean|spread)")


def _other_reading(name: str, types: Types) -> str:
    """Advice for the name of a reading that a step does not have."""
    if match := _STATISTIC.fullmatch(name):
        of, statistic = match.groups()
        if f"{of}.p50" in types:
            return "write a percentile from p1 to p99, for example p95"
        if near := [f"{each}.{statistic}" for each in close(of, types) if f"{each}.{statistic}" in types]:
            return meant(near)
    return suggest(name, types)


def check_select(problems: Problems, node: Node, names: Names) -> None:
    """Services that nobody knows in the selection of the unit."""
    select = BAD if has_reference(node) else Reader(Problems()).read(node, Select)
    if isinstance(select, Select):
        try:
            select.selection(names)
        except Misfit as misfit:
            Reader(problems).misfit(node, misfit)


def check_apart(problems: Problems, selects: Sequence[Node]) -> None:
    """Two devices of a plan that are selected by the same address: one of them is never there."""
    seen: dict[str, Node] = {}
    for select in selects:
        address = select.get("address") if isinstance(select, MappingNode) else None
        if not isinstance(address, Scalar) or has_reference(address):
            continue
        first = seen.setdefault(str(address.value).upper(), address)
        if first is not address:
            message = f"two devices of the plan have the address {address.value}: see {first.place}"
            problems.add(address.place, message, "write the address of the other unit")


# Names that always have a value; one that the plan defines comes before.
BUILT_IN = frozenset({"now"})

_IN_REPORTS = {"name": "would be the name of a step in every report"}


def check_secrets(problems: Problems, node: MappingNode, steps: Sequence[StepPlan], secrets: AbstractSet[str]) -> None:
    """A secret value is used where only the unit sees it."""
    described = [part for part in (node.get("device"), node.get("devices")) if part is not None]
    for name, scalar in (each for part in described for each in references(part)):
        if name in secrets:
            problems.add(scalar.place, f"the secret '{name}' would be looked for on the air", _USE_A_SECRET)
    for step in steps if secrets else ():
        for text, scalar in expressions(step.node):
            names = names_of(text, scalar.place.source.names)
            if names != (text,) and secrets & {*names}:
                problems.add(scalar.place, f"nothing is worked out of the secret in '{text}'", _USE_A_SECRET)
        for key, what in (step.kind.shown | _IN_REPORTS).items():
            part = step.node.get(key)
            for name, scalar in references(part) if part else ():
                if name in secrets:
                    problems.add(scalar.place, f"the secret '{name}' {what}", _USE_A_SECRET)


_USE_A_SECRET = "use it in a value that is written or in a limit"


def check_values(
    problems: Problems,
    node: MappingNode,
    given: Collection[str],
    variants: Variants,
    nodes: Sequence[StepPlan],
    used: set[str],
) -> None:
    """Every reference has a value by then, every value is used. `used` are names that steps referred to."""
    values = _Values(problems, given, variants.names)
    for name, scalar in (each for part in _selections(node) for each in references(part)):
        if name not in (*given, *variants.names):
            problems.add(scalar.place, f"no value is given as '{name}'", suggest(name, given) or _NAME_IT)
    values.take(nodes, {*given, *variants.names})
    selecting = {name for part in _selections(node) for name, _ in references(part)}
    used = used | selecting | _referred(node) | values.used | _keys(node.get("variants"))
    places = {name: _key_place(node, "given", name) for name in given}
    used = used | _meant(used, {*places, *values.saved, *values.listed, *variants.names})
    for what, named in (("given", places), ("saved", values.saved), ("listed", values.listed)):
        for name, place in named.items():
            if name not in used:
                advice = "use it as ${" + name + "}, or take it out"
                problems.add(place, f"the {what} value '{name}' is not used", advice)
    for name in variants.names.keys() - used:
        message = f"the value '{name}' of the table '{variants.names[name]}' is not used"
        problems.add(variants.places[name], message, "use it as ${" + name + "}, or take it out")


def _meant(used: set[str], defined: set[str]) -> set[str]:
    """The names that those which nothing defines may have meant: they look unused only because of these."""
    return {near for name in used - defined for near in close(name, defined)}


def check_known(
    problems: Problems, given: Collection[str], tables: Mapping[str, str], nodes: Sequence[StepPlan]
) -> None:
    """Every reference and every condition has a value by then."""
    _Values(problems, given, tables, conditions=True).take(nodes, {*given, *tables})


def _keys(node: Node | None) -> set[str]:
    return {str(key) for key in node.entries} if isinstance(node, MappingNode) else set()


class _Values:
    """Where the steps of a plan take values from, and what they do with them."""

    def __init__(
        self, problems: Problems, given: Collection[str], tables: Mapping[str, str], *, conditions: bool = False
    ) -> None:
        """`conditions`: those of the steps are looked at too."""
        self._problems, self._given, self._tables = problems, given, tables
        self._conditions = conditions
        self.used: set[str] = set()
        # with the places of their names
        self.saved: dict[str, Place] = {}
        self.listed: dict[str, Place] = {}

    def take(self, nodes: Sequence[StepPlan], known: set[str]) -> None:
        """Go through steps one after the other; `known` grows by what they save."""
        for step in nodes:
            _check_references(self._problems, step, known, self._given)
            for node in step.conditions if self._conditions else ():
                _check_conditions(self._problems, node, known)
            self.used |= step.uses
            if step.parts:
                self._take_inner(step, known)
            for name, place in step.saved:
                if _may_save(self._problems, name, place, self._given, self._tables):
                    self.saved.setdefault(name, place)
                known.add(name)

    def _take_inner(self, step: StepPlan, known: set[str]) -> None:
        """What a composite step gives the steps in it goes with it."""
        extra = cast("type[Composite]", step.kind).values_inside(step.node)
        for name, place in extra.items():
            if place is None:
                continue
            if name in known:
                self._problems.add(place, f"'{name}' has a value already", "choose another name")
            self.listed[name] = place
        inner = known | extra.keys()
        self.take(step.children, inner)
        known |= inner - extra.keys()


def _selections(node: MappingNode) -> Iterator[Node]:
    """Where devices may have references."""
    several = node.get("devices")
    listed = [part for _, part in several.entries.values()] if isinstance(several, MappingNode) else []
    for device in (node.get("device"), *listed):
        select = device.get("select") if isinstance(device, MappingNode) else None
        yield from [select] if select is not None else []


_NAME_IT = "name it under given:"


def _referred(node: MappingNode) -> set[str]:
    """The names that the lists of steps refer to as they are written, parameters of includes too."""
    lists = [part for section in ("steps", "finally") if (part := node.get(section))]
    return {name for part in lists for name, _ in references(part)}


def _check_references(problems: Problems, step: StepPlan, known: set[str], given: Collection[str]) -> None:
    for name, scalar in step.references:
        if name in known or name in BUILT_IN or (name in step.late and _is_late(step, scalar)):
            continue
        if (wrong := _unreadable(name, scalar)) is not None:
            problems.add(scalar.place, wrong.message, wrong.advice)
            continue
        advice = suggest(name, known) or "name it under given:, or save it in an earlier step"
        problems.add(scalar.place, f"nothing before this step gives '{name}' a value", advice)
    asked = step.node.get("given")
    if isinstance(asked, Scalar) and isinstance(asked.value, str) and asked.value not in given:
        problems.add(asked.place, f"no value is given as '{asked.value}'", suggest(asked.value, given) or _NAME_IT)


def _is_late(step: StepPlan, scalar: Scalar) -> bool:
    """Whether it stands in a key that the steps in the step may give a value."""
    parts = [part for key in step.kind.late if (part := step.node.get(key)) is not None]
    return any(each is scalar for part in parts for _, each in references(part))


def _unreadable(text: str, scalar: Scalar) -> Unreadable | None:
    """What is wrong with the text of a reference that is neither a name nor arithmetic."""
    try:
        parsed(text, scalar.place.source.names)
    except Unreadable as error:
        return error
    return None


def _check_conditions(problems: Problems, conditions: MappingNode, known: set[str]) -> None:
    for name, (key, _) in conditions.entries.items():
        if name not in known:
            problems.add(key.place, f"nothing before this step gives '{name}' a value")


def _may_save(problems: Problems, name: str, place: Place, given: Collection[str], tables: Mapping[str, str]) -> bool:
    if not name.isidentifier():
        problems.add(place, f"'{name}' cannot be the name of a value", "use letters, digits and _")
    elif name in given:
        problems.add(place, f"'{name}' is a given value already", "save it under another name")
    elif name in tables:
        message = f"'{name}' is a value of the table '{tables[name]}' already"
        problems.add(place, message, "save it under another name")
    else:
        return True
    return False


def check_may_lack(problems: Problems, node: Node, names: Sequence[str], steps: Sequence[StepPlan]) -> None:
    """Only a limit that the plan has can be allowed to be missing."""
    limits = limits_by_name(steps)
    for index, name in enumerate(names):
        if name not in limits:
            place = locate(node, (index,)).place
            problems.add(place, f"the plan has no limit '{name}'", suggest(name, limits) or "write STEP.READING")


def limits_by_name(steps: Sequence[StepPlan]) -> list[str]:
    """'scan.interval' for each kind of step and reading that has a limit."""
    return list(dict.fromkeys(f"{step.kind.verb}.{name}" for step in steps for name in step.limit_names))


def _key_place(node: MappingNode, section: str, key: str) -> Place:
    """Where a key stands that need not be known there."""
    part = node.get(section)
    if isinstance(part, MappingNode) and key in part.entries:
        return part.entries[key][0].place
    return part.place if part else node.place
