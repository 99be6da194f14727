"""The nodes of a plan: steps, some with steps in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

from benchrig.plan.step_kinds import origin
from benchrig.record.events import PlannedNode, Role, Section
from benchrig.source.nodes import locate
from benchrig.source.problem import Place
from benchrig.source.references import references
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence
from benchrig.steps.attribute import Names
from benchrig.steps.base import LOST, Cap, Step
from benchrig.steps.composite import JUDGES_FAILURES, Composite

_LINK = frozenset({Cap.LINK})
_CONDITIONS = frozenset({"only_if", "only_after"})


class Part(NamedTuple):
    """One of the lists of steps in a composite step, by its key."""

    name: str
    steps: tuple[StepPlan, ...]


@dataclass(frozen=True)
class StepPlan:
    """One step of a plan. `step` is the model where nothing in it waits for the run, else None."""

    id: str  # its place in the plan: "4", in a composite step "4.2"
    name: str
    kind: type[Step]
    section: Section
    node: MappingNode
    step: Step | None
    on_fail: Literal["continue", "stop"] = "continue"
    prefix: str = ""
    written: str = ""
    # what is in it, by part in order; () for a step without steps in it
    parts: tuple[Part, ...] = ()
    # the part of the step around it
    part: str = ""
    # where `step` is None: the model with what waits for the run marked as LATE
    outline: Step | None = None
    # the device that it is about, as the plan calls it: '' for the only one, or for none; and its names
    device: str = ""
    names: Names = field(default_factory=Names, repr=False)

    @cached_property
    def children(self) -> tuple[StepPlan, ...]:
        """The steps in it, those of all parts."""
        return tuple(step for part in self.parts for step in part.steps)

    @property
    def counts(self) -> bool:
        """Whether it is one of the steps that are counted: see PlannedNode."""
        return not self.children or bool(self.limit_names)

    @property
    def role(self) -> Role:
        return getattr(self.kind, "role", "step") if self.children or not self._stands_alone else "step"

    @property
    def _stands_alone(self) -> bool:
        return bool(getattr(self.kind, "stands_alone", False))

    @property
    def is_repeated(self) -> bool:
        """Whether what is in it may be carried out more than once."""
        return self.role == "repeat" and not getattr(self.step, "is_once", False)

    @property
    def tolerates(self) -> bool:
        """Whether a limit decides how many of the steps in it, or of its rounds, may fail."""
        return bool(self.parts) and not JUDGES_FAILURES.isdisjoint(self.limit_names)

    @property
    def place(self) -> Place:
        return self.node.place

    @property
    def is_about_unit(self) -> bool:
        """Whether a step that needs no link makes no sense without the unit; in finally the fixture is put right."""
        if "about" not in self.kind.__struct_fields__:
            return False
        said = self.node.get("about")
        return said.value == "unit" if isinstance(said, Scalar) and said.value else self.section == "steps"

    @property
    def called(self) -> str:
        """Its name in reports: in a plan with several devices it says which one it is about."""
        return self._with_device(self.name)

    def _with_device(self, name: str) -> str:
        about = f" ({self.device})"
        return name if not self.device or about in name else name + about

    def name_of(self, step: Step) -> str:
        """What the filled step is called; '' where the plan could say so already."""
        title = self.prefix + (step.name or step.title)
        return "" if self.name.startswith(title) else self._with_device(title)

    def planned(self) -> PlannedNode:
        rounds, seconds = self.step.extent if isinstance(self.step, Composite) else (0, 0.0)
        return PlannedNode(
            self.id,
            self.called,
            self.kind.verb,
            place_text(self.place),
            role=self.role,
            section=self.section,
            device=self.device,
            subject=self.step.subject(self.names) if self.step else "",
            limits=self.limit_names,
            written=self.written,
            children=[child.planned() for child in self.children],
            part=self.part,
            tolerates=self.tolerates,
            rounds=rounds,
            seconds=seconds,
            proves=self.proves,
            package=brought.source if (brought := origin(self.kind)) else "",
            does=self._does,
        )

    @property
    def _does(self) -> str:
        """Verb and object; '' where the name says them, and for what only has steps in it."""
        if self.parts:
            return ""
        about = self.node.get(self.kind.verb)
        written = f"{self.kind.verb} {about.text}" if isinstance(about, Scalar) and about.text else self.kind.verb
        does, said = self.step.title if self.step else written, self.called.casefold().split()
        return "" if all(word in said for word in does.casefold().split()) else does

    @property
    def proves(self) -> list[str]:
        """The ids of the requirements that it proves."""
        return list(dict.fromkeys(name for name, _ in self.proving))

    @property
    def proving(self) -> list[tuple[str, Place]]:
        """The same as they are written, and where."""
        return _one_or_several(self.node.get("proves"))

    def limit_place(self, reading: str) -> str:
        """'file:line' of the limit on a reading: that of the key which brings it, where it is not written."""
        written = locate(self.node, ("expect",))
        bringing = [key for key, name in self._implied if name == reading]
        if bringing and not (isinstance(written, MappingNode) and reading in written.entries):
            return place_text(locate(self.node, (bringing[0],)).place)
        return place_text(locate(written, (reading,)).place)

    @cached_property
    def limit_names(self) -> list[str]:
        """The readings that the step holds against a limit."""
        expected = self.node.get("expect")
        written = [str(name) for name in expected.entries] if isinstance(expected, MappingNode) else []
        return [*written, *(name for _, name in self._implied if name not in written)]

    @property
    def _implied(self) -> list[tuple[str, str]]:
        """The keys that bring a limit with them, and the readings."""
        return [(key, name) for key, name in self.kind.implied.items() if key in self.node.entries]

    def telling(self, names: AbstractSet[str]) -> frozenset[str]:
        """The readings that may tell one of these values: their limits hold it, or they are what was written."""
        expected = self.node.get("expect")
        entries = expected.entries if isinstance(expected, MappingNode) else {}
        held = {key for key, (_, node) in entries.items() if {name for name, _ in references(node)} & names}
        return frozenset(held | self.kind.echoes)

    @cached_property
    def references(self) -> tuple[tuple[str, Scalar], ...]:
        """The values that the step refers to, and where."""
        return tuple(references(self.node))

    @cached_property
    def uses(self) -> set[str]:
        """The names of the values that the step needs."""
        names = {name for name, _ in self.references}
        asked = self.node.get("given")
        names |= self.decided_by | ({asked.value} if isinstance(asked, Scalar) and asked.value else set())
        return names - self.late

    @property
    def concealed(self) -> list[Node]:
        """What is written at the keys whose values nothing tells."""
        return self.kind.concealed_in(self.node)

    @cached_property
    def late(self) -> frozenset[str]:
        """The names that its `late` keys refer to, and that the steps in it save."""
        parts = [part for key in self.kind.late if (part := self.node.get(key)) is not None]
        names = {name for part in parts for name, _ in references(part)}
        return frozenset(names & {name for step in every_step(self.children) for name in step.saves} if names else ())

    @property
    def decided_by(self) -> set[str]:
        """The names of the values in its conditions."""
        return {str(name) for node in self.conditions for name in node.entries}

    @cached_property
    def conditions(self) -> list[MappingNode]:
        """What is written under `only_if`: of the step, then of its limits."""
        expected = self.node.get("expect")
        limits = [node for _, node in expected.entries.values()] if isinstance(expected, MappingNode) else []
        written = [each.get("only_if") for each in (self.node, *limits) if isinstance(each, MappingNode)]
        return [each for each in written if isinstance(each, MappingNode)]

    @cached_property
    def after(self) -> list[tuple[str, Place]]:
        """The names of the steps without which it makes no sense, and where."""
        return _one_or_several(self.node.get("only_after"))

    @property
    def is_conditional(self) -> bool:
        """Whether the plan itself may leave it out."""
        return not _CONDITIONS.isdisjoint(self.node.entries)

    @cached_property
    def saves(self) -> list[str]:
        """The names under which the step saves readings."""
        return [name for name, _ in self.saved]

    @cached_property
    def loses(self) -> bool:
        """Whether the link is meant to end in it: it names a reading of that."""
        return self.kind.may_lose and bool(LOST & self.named)

    @cached_property
    def lets_go(self) -> StepPlan | None:
        """The step in it in which the link may be lost, which is then its own business. One that is about another device
        cannot be that."""
        bears = self.kind.wants_loss or self.kind.bears_loss
        last = self.parts[0].steps[-1] if bears and self.parts and self.parts[0].steps else None
        return last if last is not None and last.device == self.device else None

    @cached_property
    def needs(self) -> frozenset[Cap]:
        needs = self.kind.needed_by(self.node)
        return needs | _LINK if self.loses else needs

    @cached_property
    def gives(self) -> frozenset[Cap]:
        return self.kind.given_by(self.node)

    @cached_property
    def ends(self) -> frozenset[Cap]:
        ends = self.kind.ended_by(self.node)
        return ends | _LINK if self.loses else ends

    @cached_property
    def named(self) -> frozenset[str]:
        """The readings that the step judges or saves."""
        saved = self.node.get("save")
        return frozenset([*self.limit_names, *map(str, saved.entries if isinstance(saved, MappingNode) else ())])

    @property
    def saved(self) -> list[tuple[str, Place]]:
        """These names with their places."""
        saved = self.node.get("save")
        nodes = [node for _, node in saved.entries.values()] if isinstance(saved, MappingNode) else []
        return [(node.value, node.place) for node in nodes if isinstance(node, Scalar) and isinstance(node.value, str)]


def _one_or_several(node: Node | None) -> list[tuple[str, Place]]:
    """The names in what stands for one or several; a value that was put in for a reference may be a list."""
    items = node.items if isinstance(node, Sequence) else [node]
    scalars = [each for each in items if isinstance(each, Scalar)]
    named = [(each.value if isinstance(each.value, list) else [each.value], each.place) for each in scalars]
    return [(str(name), place) for names, place in named for name in names]


def every_step(nodes: Iterable[StepPlan]) -> Iterator[StepPlan]:
    """All steps in the order in which they are written; a composite one comes before those in it."""
    waiting = [*nodes][::-1]  # a stack of its own: nested generators would cost the depth for each step
    while waiting:
        step = waiting.pop()
        yield step
        if step.parts:
            waiting += reversed(step.children)


def leaves(nodes: Iterable[StepPlan]) -> Iterator[StepPlan]:
    """The steps without steps in them."""
    return (step for step in every_step(nodes) if not step.children)


def place_text(place: Place) -> str:
    return f"{place.source.name}:{place.line}"
