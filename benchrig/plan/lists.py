"""Lists of steps -> the nodes of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Sequence as Sequence_
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, cast

from benchrig.extensions import Unusable
from benchrig.plan.checks import check_files, check_names, check_readings
from benchrig.plan.files import PlanFiles
from benchrig.plan.given import GivenValues
from benchrig.plan.including import Includes
from benchrig.plan.inner import InnerReadings, readings_of
from benchrig.plan.limit_sets import Overrides, inserted_under, overridden
from benchrig.plan.step_kinds import brought_kind, origin, verbs
from benchrig.plan.substitution import Room, substitute
from benchrig.plan.tree import Part, StepPlan, leaves
from benchrig.plan.trials import Trials
from benchrig.plan.variants import Variants
from benchrig.record.events import Section
from benchrig.source.nodes import locate
from benchrig.source.problem import Place, suggest
from benchrig.source.references import has_reference, is_marked, references
from benchrig.source.shape import BAD, LATE, Reader, describe
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence
from benchrig.steps import KINDS, Step
from benchrig.steps.attribute import Names
from benchrig.steps.composite import Composite

MAX_STEPS = 100_000
MAX_NESTED = 12
_NO_NAMES = Names()
_NO_LIMITS: Mapping[str, Node] = {}


@dataclass(frozen=True)
class _List:
    """A list of steps that is being read: where it stands, and the nodes of it so far."""

    section: Section
    part: str = ""
    # the id of the step that it is in, with a point
    within: str = ""
    depth: int = 0
    # the steps of that one so far, of all its lists
    nodes: list[StepPlan] = field(default_factory=list)
    # the files that led here, for includes that go round in circles
    via: tuple[Path, ...] = ()
    # before the names of the steps, and of those in the files that include this one
    prefix: str = ""
    outer: tuple[str, ...] = ()
    # the device that its steps are about, where they do not say it
    device: str = ""
    # all that a name of a step around it will be
    listed: Mapping[str, Sequence_[Any]] = field(default_factory=dict)

    @property
    def next_id(self) -> str:
        return f"{self.within}{len(self.nodes) + 1}"


@dataclass
class StepLists:
    """Reads the lists of one plan; `nodes` are those of its two sections so far, `used` the values that they refer to.
    `overrides` are limits that stand in for those of steps."""

    files: PlanFiles
    given: GivenValues
    variants: Variants
    # by device
    names: Mapping[str, Names]
    overrides: Overrides = field(default_factory=dict)
    nodes: list[StepPlan] = field(default_factory=list)
    used: set[str] = field(default_factory=set)
    _count: int = 0
    _titles: dict[str, Place] = field(default_factory=dict)
    _counts: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.problems = self.files.problems
        self._room = Room(self.problems)
        self.trials = Trials(self.problems, self.given, self.variants, self.files.path.parent)
        self._includes = Includes(self.files, self.given, self._room)

    def add(self, node: MappingNode, section: Section) -> None:
        """Append the steps of a section of the plan."""
        self._read(node.get(section), _List(section, nodes=self.nodes))

    def add_inside(self, listed: Sequence, outer: StepPlan, nodes: list[StepPlan]) -> None:
        """Append steps to those that are in an outer one so far."""
        depth = outer.id.count(".") + 1
        into = _List(outer.section, outer.parts[0].name, f"{outer.id}.", depth, nodes, device=outer.device)
        self._read(listed, into)

    def _read(self, listed: Node | None, into: _List) -> None:
        if not isinstance(listed, Sequence):
            if listed is not None:
                self.problems.add(
                    listed.place, f"expected a list of steps, found {describe(listed)}", "for example: - scan:"
                )
            return
        for item in listed.items:
            if self._count >= MAX_STEPS:
                self.problems.add(item.place, f"more than {MAX_STEPS} steps")
                return
            if not isinstance(item, MappingNode):
                self.problems.add(item.place, f"expected a step, found {describe(item)}", _step_advice(item))
            elif "use" in item.entries:
                self._include(item, into)
            elif (kind := self._kind(item)) is not None:
                self._count += 1
                into.nodes.append(self._guarded(self._after(item, into), kind, into))

    def _include(self, node: MappingNode, into: _List) -> None:
        included, name = self._includes.included(node, into.via), node.get("name")
        if included is not None:
            path, content = included
            label = f"{name.value}: " if isinstance(name, Scalar) and name.value else ""
            inner = replace(into, via=(*into.via, path), prefix=into.prefix + label, outer=(into.prefix, *into.outer))
            self._read(content.get("steps"), inner)

    def _after(self, node: MappingNode, into: _List) -> MappingNode:
        """The step with the names of others as the whole plan has them: a file knows its own without what is put before."""
        if "only_after" not in node.entries:
            return node
        key, names = node.entries["only_after"]
        if isinstance(names, Sequence):
            names = Sequence([self._whole_name(each, into) for each in names.items], names.place)
        return MappingNode({**node.entries, "only_after": (key, self._whole_name(names, into))}, node.place)

    def _whole_name(self, named: Node, into: _List) -> Node:
        for prefix in (into.prefix, *into.outer):
            if isinstance(named, Scalar) and isinstance(named.value, str) and prefix + named.value in self._titles:
                return replace(named, value=prefix + named.value)
        return named

    def _guarded(self, node: MappingNode, kind: type[Step], into: _List) -> StepPlan:
        """The same where code of another package looks at it, which may be wrong itself."""
        try:
            return self._step(node, kind, into)
        except Exception as error:
            if (extension := origin(kind)) is None:
                raise
            raise extension.broke_off(error) from error

    def _step(self, node: MappingNode, kind: type[Step], into: _List) -> StepPlan:
        parts: tuple[Part, ...] = ()
        limits = self.overrides.get(into.next_id, _NO_LIMITS)
        device = self._device(node, into.device)
        if issubclass(kind, Composite):
            node, parts = self._parts(node, kind, replace(into, device=device))
        # what is known of it whatever is in it
        about: dict[str, Any] = {
            "id": into.next_id, "kind": kind, "section": into.section, "prefix": into.prefix, "part": into.part,
            "parts": parts, "device": device, "names": self.names.get(device, _NO_NAMES),
        }  # fmt: skip
        before, written, name = self.problems.mistakes, node, _written_name(node, kind, into.prefix)
        marked = is_marked(node) or any(map(is_marked, limits.values()))  # most are not
        if marked:
            written = self._tried(StepPlan(name=kind.verb, node=node, step=None, **about), into, limits)
            node = cast("MappingNode", substitute(written, self.given.open, self._room, partly=True))
        elif limits:
            node = written = overridden(node, limits)
        model = Reader(self.problems, {"reading": kind.usual}).read(node, kind)
        if model is BAD or self.problems.mistakes > before:
            return StepPlan(name=kind.verb, node=node, step=None, **about)
        waits = marked and has_reference(node)
        title = self._title(model, into.prefix, node, device)
        on_fail: Any = model.on_fail if isinstance(model.on_fail, str) else "continue"
        step = StepPlan(name=title, node=written if waits else node, step=None if waits else model, on_fail=on_fail,
                        outline=model if waits else None, written=name, **about)  # fmt: skip
        self._check(step, node, model, late=waits)
        return step

    def _tried(self, step: StepPlan, into: _List, limits: Mapping[str, Node]) -> MappingNode:
        """The node of a step with references: those to structures inserted, all values tried that it may be given."""
        used = {name for part in (step.node, *limits.values()) for name, _ in references(part)}
        self.used |= used
        self.trials.rows(step, used, limits)
        self.trials.listed(step, {name: into.listed[name] for name in used & into.listed.keys()}, limits)
        inserted = inserted_under(step.node, limits, self.variants)
        self.trials.secrets(replace(step, node=inserted))
        return inserted

    def _check(self, step: StepPlan, node: MappingNode, model: Step, *, late: bool) -> None:
        check_names(self.problems, node, model, step.names)
        check_readings(self.problems, node, model, partial(readings_of, step), late=late)
        self._check_device(step, model)
        check_files(self.problems, node, model, self.files.path.parent)
        if isinstance(model, Composite):
            self._check_inside(step, model)

    def _check_inside(self, step: StepPlan, model: Composite) -> None:
        instant = all(each.kind.instant for each in leaves(step.children))
        for misfit in model.misfits_inside(InnerReadings(step).steps, instant=instant):
            Reader(self.problems).misfit(step.node, misfit)

    def _parts(self, node: MappingNode, kind: type[Composite], into: _List) -> tuple[MappingNode, tuple[Part, ...]]:
        """The node without what is in its lists, and these."""
        parts, entries, nodes = list[Part](), dict(node.entries), list[StepPlan]()
        if into.depth >= MAX_NESTED:
            self.problems.add(node.place, f"more than {MAX_NESTED} steps within each other")
        for name in kind.parts if into.depth < MAX_NESTED else ():
            if (listed := node.get(name)) is None:
                continue
            section: Section = "finally" if name == "finally" else into.section
            begin, before = len(nodes), self.problems.mistakes
            inner = replace(
                into, section=section, part=name, within=f"{into.next_id}.", depth=into.depth + 1, nodes=nodes,
                listed={**into.listed, **kind.listed_inside(node)},
            )  # fmt: skip
            self._read(listed, inner)
            if begin == len(nodes) and self.problems.mistakes == before:
                self.problems.add(listed.place, f"'{name}' has no steps", "for example: - scan:")
            parts.append(Part(name, tuple(nodes[begin:])))
        if kind.stands_alone and not parts:
            parts.append(Part(kind.parts[0], ()))
        for name in kind.parts:
            if name in entries:
                entries[name] = (entries[name][0], Sequence([], entries[name][1].place))
        return MappingNode(entries, node.place), tuple(parts)

    def _device(self, node: MappingNode, around: str) -> str:
        """The device that a step is about: the one that it says, or that of the step around it; '' for none."""
        said = node.get("device")
        device = said.value if isinstance(said, Scalar) and isinstance(said.value, str) else around
        if said is not None and self.names.keys() == {""}:
            self.problems.add(said.place, "the plan has one device, so every step is about that", "take out device")
        elif said is not None and device not in self.names:
            what = f"no device is named '{device}'" if device else "expected the name of a device"
            self.problems.add(said.place, what, suggest(device, self.names))
        return device if device in self.names else ""

    def _check_device(self, step: StepPlan, model: Step) -> None:
        about = bool(step.needs | step.gives or step.kind.wires(step.node))
        if about and "" not in self.names and step.node.get("device") is None and not step.device:
            known = ", ".join(self.names)
            message = f"'{step.name}' does not say which device it is about"
            self.problems.add(step.place, message, f"add device: and one of {known}")

    def _kind(self, node: MappingNode) -> type[Step] | None:
        verbs = [key for key in node.entries if key in KINDS]
        if len(verbs) == 1:
            return KINDS[verbs[0]]
        if verbs:
            places = ", ".join(f"'{verb}'" for verb in verbs)
            self.problems.add(node.place, f"a step has one verb, this one has {places}", "make it two steps")
        else:
            return self._brought(node)
        return None

    def _brought(self, node: MappingNode) -> type[Step] | None:
        """A step kind of another package."""
        try:
            found = (brought_kind(str(key), self.files.forbid) for key in node.entries)
            if (kind := next(filter(None, found), None)) is not None:
                return kind
        except Unusable as error:
            self.problems.add(node.place, error.message, error.advice)
            return None
        words, first = verbs(), next(iter(node.entries), "")
        advice = suggest(str(first), words) if first else ""
        self.problems.add(node.place, "no verb in this step", advice or f"write one of {', '.join(words)}")
        return None

    def _title(self, step: Step, prefix: str, node: MappingNode, device: str) -> str:
        """A unique title. A name that people gave must be unique by itself; others are counted."""
        named = step.given_name if isinstance(step.given_name, str) else None
        title = prefix + (named or _safe_title(step) + (f" ({device})" if device else ""))
        if title not in self._titles:
            self._titles[title] = node.place
            return title
        if named:
            first = self._titles[title]
            self.problems.add(
                locate(node, ("name" if step.name else step.verb,)).place,
                f"two steps are named '{title}' (first in line {first.line})",
                "rename one",
            )
        count = self._counts.get(title, 2)
        while f"{title} ({count})" in self._titles:
            count += 1
        self._counts[title] = count + 1
        self._titles[f"{title} ({count})"] = node.place
        return f"{title} ({count})"


def _written_name(node: MappingNode, kind: type[Step], prefix: str) -> str:
    """The name with its references, the same whatever their values are; '' for one without any."""
    named, subject = node.get("name"), node.get(kind.verb)
    says = named or subject
    if not isinstance(says, Scalar) or not has_reference(says):
        return ""
    return prefix + (says.text if named else f"{kind.verb} {says.text}")


def _step_advice(item: Node) -> str:
    """A verb without its colon is a common slip."""
    if isinstance(item, Scalar) and item.value in KINDS:
        return f"put a colon behind it: - {item.value}:"
    return "for example: - read: temperature"


def _safe_title(step: Step) -> str:
    subject = getattr(step, step.verb, None)
    return step.verb if subject is LATE else step.title
