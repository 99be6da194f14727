"""Which steps of a plan a run takes: all, from one on, or only some, with what these need before them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from collections.abc import Set as AbstractSet

from benchrig.errors import UsageError
from benchrig.plan.flow import OfDevice, balance, touches_the_unit
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.plan.writers import attributes, changes_the_unit
from benchrig.source.problem import suggest
from benchrig.steps.base import Cap


def choose_steps(plan: Plan, only: Sequence[str] = (), from_: str | None = None) -> list[StepPlan]:
    """The part of the plan to run: a composite step is taken whole. UsageError for a step that the plan does not have."""
    if not only and from_ is None:
        return list(plan.nodes)
    nodes = [_Node(node) for node in plan.nodes]
    wanted = {_find(plan, name) for name in only}
    if from_ is not None:
        first = _find(plan, from_)
        begin = next(index for index, node in enumerate(nodes) if node.id == first)
        wanted |= {node.id for node in nodes[begin:] if node.section == "steps"}
    return _chosen(nodes, wanted)


def choose_nodes(plan: Plan, ids: Iterable[str], *, with_changes: bool = False) -> list[StepPlan]:
    """The part of the plan to run for nodes with these ids; `with_changes`: with all before them that changes the unit."""
    nodes, wanted = [_Node(node) for node in plan.nodes], {*ids}
    if with_changes:
        last = max((index for index, node in enumerate(nodes) if node.id in wanted), default=0)
        wanted |= {node.id for node in nodes[:last] if node.changes and node.section == "steps"}
    return _chosen(nodes, wanted)


def clean_up_alone(plan: Plan) -> tuple[list[StepPlan], list[StepPlan]]:
    """The clean-up of a plan whose steps were cut off: its finally steps with what connects them, and apart those that put
    back what a step had saved. What a step would save now is not what was there before."""
    nodes = [_Node(node) for node in plan.nodes]
    saved = {name for node in nodes if node.section == "steps" for name in node.saves}
    last = [node for node in nodes if node.section == "finally"]
    by_hand = [node for node in last if node.uses & saved]
    needed = _with_givers(nodes, {node.id for node in last} - {node.id for node in by_hand})
    return [node.plan for node in nodes if node.id in needed], [node.plan for node in by_hand]


def changes_left_out(plan: Plan, chosen: Sequence[StepPlan]) -> dict[str, list[str]]:
    """For each node that was chosen the titles of those before it that change the unit and were not."""
    ids = {node.id for node in chosen}
    left: list[tuple[_Node, str]] = []
    found: dict[str, list[str]] = {}
    for node in map(_Node, plan.nodes):
        if node.id in ids:
            found[node.id] = [title for other, title in left if other.may_meet(node)]
        elif node.changes and node.section == "steps":
            left.append((node, f"{node.id} {node.plan.written or node.plan.called}"))
    return found


def _chosen(nodes: Sequence[_Node], wanted: set[str]) -> list[StepPlan]:
    needed = _with_needs(nodes, wanted | _values_for_clean_up(nodes))
    body = [node for node in nodes if node.section == "steps"]
    touched = set[str]().union(*(node.touches for node in body if node.id in needed))
    return [node.plan for node in nodes if node.id in needed or _cleans_up(node, touched)]


_ORDER = [*Cap]


class _Node:
    """A node of the plan, with all that is in it seen as one step."""

    def __init__(self, plan: StepPlan) -> None:
        steps = [*every_step([plan])]
        self.plan, self.id, self.section = plan, plan.id, plan.section
        # the devices that it touches; '' is the only one
        self.touches = {step.device for step in steps if touches_the_unit(step)}
        self.uses = {name for step in steps for name in step.uses}
        self.saves = {name for step in steps for name in step.saves}
        self.names = {step.name for step in steps}
        self.after = {name for step in steps for name, _ in step.after} - self.names
        self.needs, self.gives, self.ends = balance(steps)
        self.about, self.written = attributes(steps)
        self.changes = any(changes_the_unit(step) for step in steps)
        self._devices = {step.device for step in steps if not step.children}

    def may_meet(self, other: _Node) -> bool:
        """Whether they may be about one device."""
        return bool("" in self._devices | other._devices or self._devices & other._devices)


def _cleans_up(node: _Node, touched: AbstractSet[str]) -> bool:
    """A device that was not touched needs no clean-up; the fixture may."""
    return node.section == "finally" and bool(touched & node.touches or not node.touches)


def _values_for_clean_up(nodes: Sequence[_Node]) -> set[str]:
    """The nodes that save what the clean-up puts back: a part of a plan needs them as the whole does."""
    used = {name for node in nodes if node.section == "finally" for name in node.uses}
    return {node.id for node in nodes if node.section == "steps" and used & node.saves}


def _find(plan: Plan, name: str) -> str:
    """The id of the node that has the step with this name or number in it."""
    for step in plan.steps:
        if name in (step.name, step.called, step.id):
            return step.id.partition(".")[0]
    raise UsageError(f"the plan has no step '{name}'", advice=suggest(name, [step.name for step in plan.steps]))


def _with_needs(nodes: Sequence[_Node], wanted: set[str]) -> set[str]:
    """The wanted nodes, those whose saved values they use, and those that give what they need."""
    needed: set[str] = set()
    position = {node.id: index for index, node in enumerate(nodes)}
    open_ = [node.id for node in reversed(nodes) if node.id in wanted]
    while open_:
        id_ = open_.pop()
        if id_ in needed:
            continue
        needed.add(id_)
        node, before = nodes[position[id_]], nodes[: position[id_]]
        open_ += [other.id for other in before if other.saves & node.uses or other.names & node.after]
        open_ += [other.id for other in (*_givers(node, before), *_writers(node, before))]
    return needed | _between_connections(nodes, needed)


def _givers(node: _Node, before: Sequence[_Node]) -> list[_Node]:
    """The last node before it for each thing that it needs."""
    wanted = sorted(node.needs, key=lambda each: (each[0], _ORDER.index(each[1])))
    return [other for cap in wanted for other in [each for each in before if cap in each.gives][-1:]]


def _with_givers(nodes: Sequence[_Node], wanted: set[str]) -> set[str]:
    """These, and what gives them unit and link."""
    needed = {*wanted}
    for at in reversed(range(len(nodes))):
        if nodes[at].id in needed:
            needed |= {giver.id for giver in _givers(nodes[at], nodes[:at])}
    return needed


def _writers(node: _Node, before: Sequence[_Node]) -> Iterator[_Node]:
    """Those that decide the values which the node is about: the last that surely writes each, and what may after it."""
    for attribute in dict.fromkeys(node.about):
        for other in reversed(before):
            own = [each for each in other.written if each.attribute.key == attribute.key]
            if own:
                yield other
            if any(each.surely and each.attribute == attribute for each in own):
                break


def _between_connections(nodes: Sequence[_Node], needed: set[str]) -> set[str]:
    """The nodes that end a connection which is made, before the next one that is."""
    devices = {device for node in nodes for device, _ in node.gives | node.ends}
    return set().union(*(_between(nodes, needed, (device, Cap.LINK)) for device in devices))


def _between(nodes: Sequence[_Node], needed: set[str], link: OfDevice) -> set[str]:
    between, last, connected = set[str](), "", False
    for node in nodes:
        if link in node.ends:
            last = node.id
        elif link in node.gives and node.id in needed:
            between |= {last} if connected and last else set()
            connected, last = True, ""
    return between
