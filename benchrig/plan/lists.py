"""Lists of steps -> the nodes of a plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, cast

from benchrig.plan.checks import check_files, check_readings
from benchrig.plan.files import PlanFiles
from benchrig.plan.given import GivenValues
from benchrig.plan.including import Includes
from benchrig.plan.tree import StepPlan
from benchrig.record.model import Section
from benchrig.source.problem import Place, Problems, suggest
from benchrig.source.references import Room, has_reference, is_marked, references, substitute
from benchrig.source.shape import BAD, LATE, Reader, describe, locate
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence
from benchrig.steps import KINDS, Step
from benchrig.steps.attribute import Names

MAX_STEPS = 100_000


@dataclass
class StepLists:
    """Reads the lists of one plan; `steps` are those so far, `used` the values that they refer to."""

    files: PlanFiles
    given: GivenValues
    names: Names
    steps: list[StepPlan] = field(default_factory=list)
    used: set[str] = field(default_factory=set)
    _titles: dict[str, Place] = field(default_factory=dict)
    _counts: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.problems = self.files.problems
        self._room = Room(self.problems)
        self._includes = Includes(self.files, self.given, self._room)

    def add(self, node: MappingNode, section: Section) -> None:
        """Append the steps of a section of the plan."""
        self._add_steps(node.get(section), section, ())

    def _add_steps(self, listed: Node | None, section: Section, via: tuple[Path, ...], prefix: str = "") -> None:
        """`via` are the files that led here, for includes that go round in circles."""
        if not isinstance(listed, Sequence):
            if listed is not None:
                self.problems.add(
                    listed.place, f"expected a list of steps, found {describe(listed)}", "for example: - scan:"
                )
            return
        for item in listed.items:
            if len(self.steps) >= MAX_STEPS:
                self.problems.add(item.place, f"more than {MAX_STEPS} steps")
                return
            if not isinstance(item, MappingNode):
                self.problems.add(item.place, f"expected a step, found {describe(item)}", _step_advice(item))
            elif "use" in item.entries:
                self._include(item, section, via, prefix)
            else:
                self._add_step(item, section, prefix)

    def _include(self, node: MappingNode, section: Section, via: tuple[Path, ...], prefix: str) -> None:
        included, name = self._includes.included(node, via), node.get("name")
        if included is not None:
            path, content = included
            label = f"{name.value}: " if isinstance(name, Scalar) and name.value else ""
            self._add_steps(content.get("steps"), section, (*via, path), prefix + label)

    def _add_step(self, node: MappingNode, section: Section, prefix: str) -> None:
        kind = self._kind(node)
        if kind is None:
            return
        before, written = self.problems.mistakes, node
        if is_marked(node):  # most are not
            self.used |= {name for name, _ in references(node)}
            self._try_secrets(node, kind)
            node = cast("MappingNode", substitute(node, self.given.open, self._room, partly=True))
        step = Reader(self.problems).read(node, kind)
        if step is BAD or self.problems.mistakes > before:
            self.steps.append(StepPlan(str(len(self.steps) + 1), kind.verb, kind, section, node, None))
            return
        waits = node is not written and has_reference(node)
        check_readings(self.problems, node, step, self.names, late=waits)
        check_files(self.problems, node, step, self.files.path.parent)
        named = step.name if isinstance(step.name, str) else None
        title = self._title(named, step, prefix, node)
        on_fail = step.on_fail if isinstance(step.on_fail, str) else "continue"
        number = str(len(self.steps) + 1)
        step_plan = StepPlan(number, title, kind, section, written if waits else node, None if waits else step, on_fail)  # type: ignore[arg-type]
        self.steps.append(replace(step_plan, prefix=prefix, written=_written_name(written, kind, prefix)))

    def _try_secrets(self, node: MappingNode, kind: type[Step]) -> None:
        """See whether the secret values fit, and say no more than that."""
        values = self.given.values
        used = sorted(self.given.secrets & values.keys() & {name for name, _ in references(node)})
        others = {name: value for name, value in values.items() if name not in used}
        if used and self._misfits(node, kind, values) > self._misfits(node, kind, others):
            message = f"the secret value {used[0]} does not fit where it is used"
            self.problems.add(node.place, message, "give another value, or use it elsewhere")

    def _misfits(self, node: MappingNode, kind: type[Step], values: Mapping[str, Any]) -> int:
        problems = Problems()
        tried = cast("MappingNode", substitute(node, values, Room(problems), partly=True))
        step = Reader(problems).read(tried, kind)
        if step is not BAD:
            check_readings(problems, tried, step, self.names)
        return len(problems.found)

    def _kind(self, node: MappingNode) -> type[Step] | None:
        verbs = [key for key in node.entries if key in KINDS]
        if len(verbs) == 1:
            return KINDS[verbs[0]]
        if verbs:
            places = ", ".join(f"'{verb}'" for verb in verbs)
            self.problems.add(node.place, f"a step has one verb, this one has {places}", "make it two steps")
        else:
            words = [*KINDS, "use"]
            first = next(iter(node.entries), "")
            advice = suggest(str(first), words) if first else ""
            self.problems.add(node.place, "no verb in this step", advice or f"write one of {', '.join(words)}")
        return None

    def _title(self, named: str | None, step: Step, prefix: str, node: MappingNode) -> str:
        """A unique title. A name that people gave must be unique by itself; others are counted."""
        title = prefix + (named or _safe_title(step))
        if title not in self._titles:
            self._titles[title] = node.place
            return title
        if named:
            first = self._titles[title]
            self.problems.add(
                locate(node, ("name",)).place,
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
