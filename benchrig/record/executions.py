"""The tree of executions that a plan makes, and the order in which they may open and close."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from benchrig.record.events import Closed, Opened, PlannedNode, Where, worst
from benchrig.record.model import Execution

if TYPE_CHECKING:
    from collections.abc import Sequence


class UnfitEvent(Exception):
    """An event that cannot stand where it does."""


class Executions:
    """Every node of the plan is here from the start, also what is never reached; a round is when it begins."""

    def __init__(self, plan: Sequence[PlannedNode]) -> None:
        self._all: dict[Where, Execution] = {}
        self._parents: dict[Where, Execution] = {}
        self._going: dict[Where, Execution] = {}
        self._repeats: dict[str, str] = {}  # what stands in a repetition, and the node of that
        self.roots = [self._planned(node, (), None) for node in plan]

    def of(self, where: Where) -> Execution:
        """UnfitEvent for what the plan does not have."""
        key = where.execution
        if key not in self._all and where.rounds:
            self._next_round(where)
        found = self._all.get(key)
        if found is None:
            raise UnfitEvent(f"the plan of this run has no step {where.label}")
        return found

    def running(self, where: Where) -> Execution:
        """One that has begun and is not over."""
        execution = self.of(where)
        if execution.opened is None or execution.ended is not None:
            state = "is over" if execution.ended is not None else "has not begun"
            raise UnfitEvent(f"step {where.label} {state}")
        return execution

    def open(self, event: Opened) -> None:
        execution = self.of(event.where)
        if execution.opened is not None or execution.ended is not None:
            raise UnfitEvent(f"step {event.where.label} begins a second time")
        self._check_turn(execution)
        execution.opened = event
        self._going[execution.where] = execution
        said = {name: value for name in ("name", "subject") if (value := getattr(event, name))}
        execution.planned = msgspec.structs.replace(execution.planned, **said)

    def close(self, event: Closed) -> None:
        execution = self.of(event.where)
        if execution.opened is None and execution.ended is None and event.verdict == "skip":
            execution.ended = event
            return
        self.running(event.where)
        self._check_children(execution, event)
        execution.ended = event
        del self._going[execution.where]

    def _check_turn(self, execution: Execution) -> None:
        """An execution begins inside its parent, and after its siblings unless they go side by side."""
        parent = self._parents.get(execution.where)
        if parent is not None:
            self.running(parent.where)
        going = self._going_in(parent)
        if going is not None and (parent is None or parent.planned.role != "parallel"):
            raise UnfitEvent(f"step {execution.where.label} begins while step {going.where.label} is running")

    def _check_children(self, execution: Execution, event: Closed) -> None:
        if (going := self._going_in(execution)) is not None:
            raise UnfitEvent(f"step {event.where.label} ends while step {going.where.label} is running")
        verdict = worst(each.counts_as for each in execution.children)
        if execution.planned.tolerates and verdict != "error":
            return
        if worst([verdict, event.verdict]) != event.verdict:
            raise UnfitEvent(f"step {event.where.label} ends with {event.verdict}, but a step in it with {verdict}")

    def _going_in(self, parent: Execution | None) -> Execution | None:
        return next((each for where, each in self._going.items() if self._parents.get(where) is parent), None)

    def add(self, node: PlannedNode) -> None:
        """A step that becomes known now: after all others, in the one that its id names, if any."""
        outer = node.id.rpartition(".")[0]
        parent = self.running(Where(outer)) if outer else None
        if Where(node.id) in self._all:
            raise UnfitEvent(f"step {node.id} is known already")
        if parent is not None and parent.planned.role == "repeat":
            raise UnfitEvent(f"step {node.id} cannot be added to a repetition")
        (self.roots if parent is None else parent.children).append(self._planned(node, (), parent))

    # --- what the plan makes

    def _planned(self, node: PlannedNode, rounds: tuple[int, ...], parent: Execution | None) -> Execution:
        execution = Execution(node, Where(node.id, rounds))
        self._all[execution.where] = execution
        if parent is not None:
            self._parents[execution.where] = parent
        self._add_children(execution, (*rounds, 1) if node.role == "repeat" else rounds)
        return execution

    def _add_children(self, execution: Execution, rounds: tuple[int, ...]) -> None:
        for child in execution.planned.children:
            if execution.planned.role == "repeat":
                self._repeats[child.id] = execution.planned.id
            execution.children.append(self._planned(child, rounds, execution))

    def _next_round(self, where: Where) -> None:
        """The round of this event, when it is a later one of the repetition that the node stands in: those between may be
        left out of the record."""
        repeat = self._all.get(Where(self._repeats.get(where.node, ""), where.rounds[:-1]))
        if repeat is None:
            return
        if where.rounds[-1] > repeat.children[-1].where.rounds[-1]:
            self._add_children(repeat, where.rounds)
