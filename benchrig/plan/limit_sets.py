"""Limit sets: a file whose limits stand in for those of a plan, for a variant of the product.

    limit_set: Pharma logger
    plan: VFL logger, end of line
    version: 3
    owner: Quality, A. Berg
    reason: The pharma logger is sold with a narrower range.
    limits:
      read temperature:
        value: {max: 7 °C}

It overrides and never adds: a step, a reading or a key of a limit that the plan does not have is a mistake. What it does not
name stays as the plan has it. The plan is read with these limits in their places, so that all checks see them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar, cast

import msgspec

from benchrig.plan.model import Revision
from benchrig.plan.tree import StepPlan
from benchrig.plan.variants import Variants
from benchrig.record.events import PlannedLimits
from benchrig.source.nodes import locate
from benchrig.source.problem import Problems, suggest
from benchrig.source.references import expressions, references
from benchrig.source.shape import BAD, Misfit, Reader, describe, describe_value
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, file_bytes, read_bytes
from benchrig.source.yaml import Sequence as ListNode

KEY = "limit_set"
_LEAST = "write at least 'limit_set:', 'plan:', 'version:', 'owner:', 'reason:' and 'limits:'"
_EXAMPLE = "for example: {read temperature: {value: {max: 7 °C}}}"


class LimitsByStep:
    """By the name of a step and a reading of it the keys of a limit; their places matter, so they stay nodes."""

    source_schema: ClassVar[dict[str, Any]] = {
        "type": "object",
        "description": "by the name of a step and a reading of it, the keys of its limit that are other ones",
        "additionalProperties": {"type": "object", "additionalProperties": {"$ref": "#/$defs/ReadingLimit"}},
    }

    @classmethod
    def from_source(cls, value: Any) -> Any:
        if not isinstance(value, dict) or not value:
            raise Misfit(f"expected limits by step and reading, found {describe_value(value)}", _EXAMPLE)
        return value

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        """What is in it may have references: a plan can take them."""
        return cls if isinstance(node, MappingNode) and node.entries else reader.read_own(node, cls)


class LimitSetFile(msgspec.Struct, omit_defaults=True):
    """A limit set, as it is written."""

    limit_set: str
    plan: str
    version: Revision
    owner: str
    reason: str
    limits: LimitsByStep

    def misfits(self) -> Iterable[Misfit]:
        for key in (KEY, "plan", "version", "owner", "reason"):
            if not str(getattr(self, key)).strip():
                yield Misfit(f"expected text, found an empty {key}", "say it in a few words", (key,))


@dataclass(frozen=True)
class LimitSet:
    """A file that was read. `plan` is the name of the plan that it is for."""

    head: PlannedLimits
    plan: str
    # by step and reading, with the keys as they are written
    limits: Mapping[str, tuple[Scalar, Mapping[str, tuple[Scalar, Node]]]]
    node: MappingNode


# By the id of a step and the reading, what stands in for its limit, or for keys of it.
Overrides = Mapping[str, Mapping[str, Node]]


def is_limit_set(node: Node) -> bool:
    return isinstance(node, MappingNode) and KEY in node.entries and "steps" not in node.entries


def read_limit_set(path: Path, problems: Problems, names: frozenset[str] = frozenset()) -> LimitSet | None:
    """None, with the problems added, for what is no limit set. `names` are those of values that are no identifiers."""
    data = file_bytes(path, problems, str(path))
    node = None if data is None else read_bytes(data, str(path), problems, _LEAST)
    if data is None or node is None:
        return None
    node.place.source.names = names
    _refuse_references(node, problems)
    read = Reader(problems).read(node, LimitSetFile)
    if read is BAD or not isinstance(node, MappingNode):
        return None
    head = PlannedLimits(
        read.limit_set, str(read.version), read.owner, read.reason, str(path), hashlib.sha256(data).hexdigest()
    )
    limits = {
        step: (key, dict(_entries(part, problems, "limits by reading")))
        for step, key, part in _named(node.get("limits"), problems, "limits by step and reading")
    }
    return LimitSet(head, read.plan, limits, node)


def _refuse_references(node: Node, problems: Problems) -> None:
    """Only limits may have them: what a set is called depends on no run."""
    for key, (_, part) in node.entries.items() if isinstance(node, MappingNode) else ():
        for name, scalar in expressions(part) if key != "limits" else ():
            problems.add(scalar.place, f"${{{name}}} is not allowed here", "write the value")


def _named(node: Node | None, problems: Problems, what: str) -> Iterator[tuple[str, Scalar, Node]]:
    for name, (key, part) in _entries(node, problems, what):
        yield name, key, part


def _entries(node: Node | None, problems: Problems, what: str) -> Iterator[tuple[str, tuple[Scalar, Node]]]:
    """What has a name in a mapping."""
    if not isinstance(node, MappingNode) or not node.entries:
        if node is not None:
            problems.add(node.place, f"expected {what}, found {describe(node)}", _EXAMPLE)
        return
    for name, entry in node.entries.items():
        if isinstance(name, str):
            yield name, entry
        else:
            message = f"expected text as a key, found {describe(entry[0])}"
            problems.add(entry[0].place, message, f"quote it: '{entry[0].text}'")


def overrides_of(
    found: LimitSet, plan: str, steps: Sequence[StepPlan], secrets: AbstractSet[str], problems: Problems, *, whole: bool
) -> Overrides:
    """What goes into which step. `whole` says that all given values are known, `secrets` which of them nothing may tell.
    Problems for what the plan does not have."""
    if found.plan != plan:
        message = f"the limit set '{found.head.name}' is for the plan '{found.plan}', not for '{plan}'"
        place = found.node.entries["plan"][1].place
        problems.add(place, message, "give the limit set of this plan, or the plan of this limit set")
        return {}
    named, overrides = _by_name(steps), dict[str, dict[str, Node]]()
    for name, (key, limits) in found.limits.items():
        if (step := named.get(name)) is None:
            problems.add(key.place, f"the plan has no step '{name}' with a limit", suggest(name, named))
            continue
        into = overrides.setdefault(step.id, {})
        for reading, (scalar, limit) in limits.items():
            if reading in into:
                problems.add(scalar.place, f"the limit on '{reading}' of '{step.name}' is there twice", "keep one")
            elif (fitting := _fitting(step, name, scalar, limit, problems, whole=whole)) is not None:
                into[reading] = fitting
                _keep_secrets(step, scalar, secrets, problems)
    return overrides


def _by_name(steps: Sequence[StepPlan]) -> dict[str, StepPlan]:
    """The steps with limits by what they may be called: the name of the plan, that of the reports, and the one with its
    references, where one step alone is called so."""
    held = [step for step in steps if step.limit_names]
    written = [step.written for step in held]
    names = {step.written: step for step in held if step.written and written.count(step.written) == 1}
    return names | {step.called: step for step in held} | {step.name: step for step in held}


def _fitting(step: StepPlan, name: str, key: Scalar, limit: Node, problems: Problems, *, whole: bool) -> Node | None:
    """What of the limit the plan has, too; None for nothing."""
    expected = step.node.get("expect")
    if expected is not None and not isinstance(expected, MappingNode):
        if whole:
            problems.add(key.place, f"the limits of '{name}' are a value of the run", "write the limit into the plan")
        return limit
    limits = expected.entries if isinstance(expected, MappingNode) else {}
    if key.value not in limits:
        problems.add(key.place, *_no_limit(step, name, str(key.value), limits))
        return None
    theirs = limits[key.value][1]
    if not isinstance(theirs, MappingNode) or not isinstance(limit, MappingNode):
        return limit  # of one that is a reference nobody knows the keys
    return _fitting_keys(theirs, limit, str(key.value), problems)


def _keep_secrets(step: StepPlan, key: Scalar, secrets: AbstractSet[str], problems: Problems) -> None:
    """A limit with a secret says which readings may tell it: it stays."""
    theirs = locate(step.node, ("expect", str(key.value)))
    for name in dict.fromkeys(name for name, _ in references(theirs) if name in secrets):
        message = f"the limit on '{key.value}' takes the secret '{name}', and a limit set does not override that"
        problems.add(key.place, message, "take the limit out")


def _no_limit(step: StepPlan, name: str, reading: str, limits: Mapping[Any, Any]) -> tuple[str, str]:
    brings = {brought: key for key, brought in step.kind.implied.items() if key in step.node.entries}
    if reading in brings:
        said = f"the limit on '{reading}' comes with '{brings[reading]}' of the step '{name}'"
        return said, "change the plan: a limit set overrides what is under expect"
    advice = suggest(reading, map(str, limits)) or "write the limit into the plan first"
    return f"the step '{name}' has no limit on '{reading}': a limit set overrides limits and adds none", advice


def _fitting_keys(theirs: MappingNode, limit: MappingNode, reading: str, problems: Problems) -> MappingNode | None:
    known = [str(word) for word in theirs.entries if word != "only_if"]
    fitting = {word: entry for word, entry in limit.entries.items() if word in known}
    for word, (key, _) in limit.entries.items():
        if word == "only_if":
            problems.add(key.place, "a limit set does not decide whether a limit is judged", "take out only_if")
        elif word not in known:
            said = (
                f"the limit on '{reading}' has no '{key.text}' in the plan: a limit set overrides limits and adds none"
            )
            problems.add(key.place, said, f"the plan has {', '.join(known)}")
    if not limit.entries:
        problems.add(limit.place, f"the limit on '{reading}' is empty", f"write one of: {', '.join(known)}")
    return MappingNode(fitting, limit.place) if fitting else None


# --- into the steps


def inserted_under(
    node: MappingNode, limits: Mapping[str, Node], variants: Variants, row: Mapping[str, Node] | None = None
) -> MappingNode:
    """The step with the structures of the chosen rows, or of `row`, in their places, and these limits in place of its own."""
    inserted = cast("MappingNode", variants.inserted(node, row))
    theirs = {reading: variants.inserted(limit, row) for reading, limit in limits.items()}
    return overridden(inserted, theirs)


def overridden(node: MappingNode, limits: Mapping[str, Node]) -> MappingNode:
    """The step with these limits in place of its own."""
    key, expected = node.entries.get("expect", (None, None))
    if key is None or not isinstance(expected, MappingNode):
        return node
    entries = dict(expected.entries)
    for reading, limit in limits.items():
        if reading in entries:
            own, theirs = entries[reading]
            entries[reading] = (own, _merged(theirs, limit))
    return MappingNode({**node.entries, "expect": (key, MappingNode(entries, expected.place))}, node.place)


def _merged(theirs: Node, limit: Node) -> Node:
    """Key by key. What stays is placed in the limit set, which has to fit to it."""
    if not isinstance(theirs, MappingNode) or not isinstance(limit, MappingNode):
        return limit
    stays = {key: entry for key, entry in theirs.entries.items() if key not in limit.entries}
    moved = {key: (_moved(scalar, limit), _moved(part, limit)) for key, (scalar, part) in stays.items()}
    return MappingNode({**moved, **limit.entries}, limit.place)


def _moved(node: Any, to: Node) -> Any:
    place = to.place
    if isinstance(node, MappingNode):
        entries = {key: (_moved(scalar, to), _moved(part, to)) for key, (scalar, part) in node.entries.items()}
        return MappingNode(entries, place)
    if isinstance(node, ListNode):
        return ListNode([_moved(item, to) for item in node.items], place)
    return replace(node, place=place)
