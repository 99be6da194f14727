"""The executions of a record by the steps of a plan: by their ids where it is the plan of the run, else by what they do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.record.events import PlannedNode, Where
from benchrig.record.model import Execution, Record
from benchrig.rejudge.texts import Reread, StepTexts, differing, same_limits

# Steps that leave the unit as it is: what comes after them is the same without them.
LOOKING = frozenset({"scan", "discover", "read", "notify", "wait", "compute"})


@dataclass(frozen=True)
class Matched:
    """`nodes` are the steps of the plan that this run was for: all, or of a partial run those on record."""

    nodes: Sequence[StepPlan]
    # the ids in the plan by those of the record
    ids: dict[str, str]
    # steps of the record that the plan does not have
    gone: list[PlannedNode]
    # by id, what of a step makes it do something else now, and the readings whose limits are written as they were
    other: dict[str, str] = field(default_factory=dict)
    same: dict[str, frozenset[str]] = field(default_factory=dict)
    # the first step that comes after other steps in the plan than in the run, of those that change the unit
    moved: str = ""
    _executions: dict[Where, Execution] = field(default_factory=dict)

    @classmethod
    def of(cls, record: Record, plan: Plan) -> Matched:
        ids = (
            _same(record.run.nodes) if plan.hash == record.run.plan_hash else dict(_pairs(record.run.nodes, plan.nodes))
        )
        known = set(ids.values())
        nodes = [node for node in plan.nodes if node.id in known or not record.run.left_out]
        found = {where: each for each in record.executions if (where := _translated(each.where, ids)) is not None}
        gone = [node for node in _all(record.run.nodes) if node.id not in ids]
        other, same = _compared(record, plan, ids)
        moved = "" if plan.hash == record.run.plan_hash else _moved(record, nodes, ids)
        return cls(nodes, ids, gone, other, same, moved, found)

    def execution(self, where: Where) -> Execution | None:
        return self._executions.get(where)

    def where(self, recorded: Where) -> Where | None:
        """The place in the plan of one in the record; None for a step that the plan does not have."""
        return _translated(recorded, self.ids)


def _compared(record: Record, plan: Plan, ids: dict[str, str]) -> tuple[dict[str, str], dict[str, frozenset[str]]]:
    """The steps of another revision with those of the plan that the run kept."""
    if plan.hash == record.run.plan_hash:
        return {}, {}
    before, after = StepTexts(record.run.plan_text), StepTexts(plan.text)
    steps = {step.id: step.planned() for step in plan.steps}
    texts = {
        ids[node.id]: (before.step(node), after.step(steps[ids[node.id]]))
        for node in _all(record.run.nodes)
        if node.id in ids
    }
    reread, about = Reread(before, after), {id_: step.subject for id_, step in steps.items()}
    other = {
        id_: key for id_, pair in texts.items() if (key := differing(*pair) or reread.by(pair[1], about[id_] or ""))
    }
    return other, {id_: same_limits(*pair) for id_, pair in texts.items()}


def _moved(record: Record, nodes: Iterable[StepPlan], ids: Mapping[str, str]) -> str:
    """Of steps that the run has carried out, as the others change nothing."""
    carried_out = {each.where.node for each in record.executions if each.opened is not None}
    planned = [node for node in _all(record.run.nodes) if node.id in carried_out and not node.children]
    before = _changing_before((ids.get(node.id, f"gone {node.id}"), node.kind) for node in planned)
    steps = [step for step in every_step(nodes) if not step.children and step.id in before]
    after = _changing_before((step.id, step.kind.verb) for step in steps)
    return next((step.id for step in steps if before[step.id] != after[step.id]), "")


def _changing_before(steps: Iterable[tuple[str, str]]) -> dict[str, tuple[str, ...]]:
    """By step, those before it that may change the unit."""
    found, so_far = dict[str, tuple[str, ...]](), tuple[str, ...]()
    for id_, kind in steps:
        found[id_] = so_far
        so_far = so_far if kind in LOOKING else (*so_far, id_)
    return found


def _translated(where: Where, ids: dict[str, str]) -> Where | None:
    id_ = ids.get(where.node)
    return None if id_ is None else Where(id_, where.rounds)


def _all(nodes: Iterable[PlannedNode]) -> Iterator[PlannedNode]:
    for node in nodes:
        yield node
        yield from _all(node.children)


def _same(nodes: Iterable[PlannedNode]) -> dict[str, str]:
    return {node.id: node.id for node in _all(nodes)}


def _pairs(nodes: Sequence[PlannedNode], steps: Iterable[StepPlan]) -> Iterator[tuple[str, str]]:
    """Steps of one name that do the same, at the same place in the tree; of several the one after the other."""
    left = [*nodes]
    for step in steps:
        planned = step.planned()
        found = next((node for node in left if _is_one(node, planned)), None)
        if found is not None:
            left.remove(found)
            yield found.id, step.id
            yield from _pairs(found.children, step.children)


def _is_one(recorded: PlannedNode, planned: PlannedNode) -> bool:
    said = [
        (node.kind, node.device, node.section, node.part, node.written or node.name) for node in (recorded, planned)
    ]
    known = recorded.subject and planned.subject
    return said[0] == said[1] and (not known or recorded.subject == planned.subject)
