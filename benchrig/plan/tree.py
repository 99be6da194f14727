"""The nodes of a plan: steps, and blocks of nodes that belong together or are repeated."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, TypeAlias

from benchrig.record.model import PlannedNode, Section, Where
from benchrig.source.problem import Place
from benchrig.source.references import references
from benchrig.source.shape import locate
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar
from benchrig.steps.attribute import Names
from benchrig.steps.base import LOST, Cap, Step

_LINK = frozenset({Cap.LINK})


@dataclass(frozen=True)
class StepPlan:
    """One step of a plan. `step` is the model where nothing in it waits for the run, else None."""

    id: str  # its place in the plan: "4", in a block "4.2"
    name: str
    kind: type[Step]
    section: Section
    node: MappingNode
    step: Step | None
    on_fail: Literal["continue", "stop"] = "continue"
    prefix: str = ""
    written: str = ""

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

    def name_of(self, step: Step) -> str:
        """What the filled step is called; '' where the plan could say so already."""
        title = self.prefix + (step.name or step.title)
        return "" if self.name.startswith(title) else title

    def planned(self, names: Names) -> PlannedNode:
        return PlannedNode(
            self.id,
            self.name,
            self.kind.verb,
            place_text(self.place),
            section=self.section,
            subject=self.step.subject(names) if self.step else "",
            limits=self.limit_names,
            written=self.written,
        )

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
        return names | ({asked.value} if isinstance(asked, Scalar) and asked.value else set())

    @cached_property
    def saves(self) -> list[str]:
        """The names under which the step saves readings."""
        return [name for name, _ in self.saved]

    @cached_property
    def loses(self) -> bool:
        """Whether the link is meant to end in it: it names a reading of that."""
        return self.kind.may_lose and bool(LOST & {*self.limit_names, *self._saved_readings})

    @cached_property
    def needs(self) -> frozenset[Cap]:
        return self.kind.needs | _LINK if self.loses else self.kind.needs

    @property
    def gives(self) -> frozenset[Cap]:
        return self.kind.gives

    @cached_property
    def ends(self) -> frozenset[Cap]:
        return self.kind.ends | _LINK if self.loses else self.kind.ends

    @property
    def _saved_readings(self) -> list[str]:
        saved = self.node.get("save")
        return [str(name) for name in saved.entries] if isinstance(saved, MappingNode) else []

    @property
    def saved(self) -> list[tuple[str, Place]]:
        """These names with their places."""
        saved = self.node.get("save")
        nodes = [node for _, node in saved.entries.values()] if isinstance(saved, MappingNode) else []
        return [(node.value, node.place) for node in nodes if isinstance(node, Scalar) and isinstance(node.value, str)]


@dataclass(frozen=True)
class Block:
    """Several nodes together: a group is carried out once, a repetition so many `times`, whatever its rounds come to."""

    id: str
    name: str
    role: Literal["group", "repeat"]
    place: Place
    children: tuple[Node, ...]
    times: int = 1
    section: Section = "steps"

    def each_round(self, rounds: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        """The rounds in which the children stand, inside those of the block."""
        if self.role == "group":
            yield rounds
        else:
            yield from ((*rounds, number) for number in range(1, self.times + 1))

    def planned(self, names: Names) -> PlannedNode:
        children = [child.planned(names) for child in self.children]
        place = place_text(self.place)
        return PlannedNode(self.id, self.name, self.role, place, self.role, self.section, children=children)


Node: TypeAlias = StepPlan | Block


def leaves(nodes: Iterable[Node]) -> Iterator[StepPlan]:
    """The steps, in the order in which they are written."""
    for node in nodes:
        if isinstance(node, Block):
            yield from leaves(node.children)
        else:
            yield node


def pruned(nodes: Iterable[Node], stays: Callable[[StepPlan], bool]) -> list[Node]:
    """The nodes with these steps alone; a block that is empty goes."""
    kept: list[Node] = []
    for node in nodes:
        if not isinstance(node, Block):
            kept += [node] if stays(node) else []
        elif children := pruned(node.children, stays):
            kept.append(replace(node, children=tuple(children)))
    return kept


def executions(nodes: Iterable[Node], rounds: tuple[int, ...] = ()) -> Iterator[tuple[StepPlan, Where]]:
    """Every step as often as it is to be carried out, in order."""
    for node in nodes:
        if isinstance(node, Block):
            for inner in node.each_round(rounds):
                yield from executions(node.children, inner)
        else:
            yield node, Where(node.id, rounds)


def place_text(place: Place) -> str:
    return f"{place.source.name}:{place.line}"
