"""Which worker of pytest-xdist gets which items: the steps of a plan, with one case, stay together; all else is as ever.

Whether there are plans at all is known when the first worker has told its items.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from xdist.scheduler import LoadGroupScheduling, LoadScheduling, LoadScopeScheduling, WorkStealingScheduling

from benchrig.plan.looks import SUFFIXES

# The ways of xdist that part what is in one file, and its own schedulers for them.
_USUAL = {"load": LoadScheduling, "worksteal": WorkStealingScheduling, "loadgroup": LoadGroupScheduling}


def is_of_plan(nodeid: str) -> bool:
    path, *names = nodeid.split("::")
    return path.endswith(SUFFIXES) and len(names) == 2


def scope_of(nodeid: str) -> str:
    """What has to stay together: a plan with one case, a group of xdist's own; else an item is alone."""
    if is_of_plan(nodeid):
        plan, _, step = nodeid.rpartition("::")
        return plan + step[step.find("[") :] if step.endswith("]") else plan
    return nodeid.rpartition("@")[2] if "@" in nodeid.rpartition("]")[2] else nodeid


class PlanScheduling(LoadScopeScheduling):  # type: ignore[misc]  # xdist has no types
    def _split_scope(self, nodeid: str) -> str:
        return scope_of(nodeid)

    def remove_node(self, node: Any) -> str | None:
        """The item that its worker has died in, if any. It has failed: to begin it again would kill the next worker too. What
        was to come behind it is for others."""
        work = self.assigned_work.pop(node)
        died_in = next((item for unit in work.values() for item, is_done in unit.items() if not is_done), None)
        if died_in is not None:
            work[scope_of(died_in)][died_in] = True
            self.workqueue.update({scope: unit for scope, unit in work.items() if not all(unit.values())})
            for each in self.nodes:
                self._reschedule(each)
        return died_in

    def _reschedule(self, node: Any) -> None:
        """A worker that takes the place of another one has first to tell its items. None begins an item before it knows the
        next one, so each has two."""
        if node in self.registered_collections:
            super()._reschedule(node)
            while self.workqueue and not node.shutting_down and self._coming(node) < 2:
                super()._reschedule(node)

    def _coming(self, node: Any) -> int:
        return sum(not is_done for unit in self.assigned_work[node].values() for is_done in unit.values())


class Scheduling:
    """xdist's own scheduler, or one that keeps plans together."""

    def __init__(self, config: pytest.Config, log: Any) -> None:
        self._config, self._log = config, log
        self._nodes: list[Any] = []
        self._chosen: Any = None

    @property
    def nodes(self) -> list[Any]:
        return self._nodes if self._chosen is None else self._chosen.nodes

    def add_node(self, node: Any) -> None:
        if self._chosen is not None:
            self._chosen.add_node(node)
        else:
            self._nodes.append(node)

    def add_node_collection(self, node: Any, collection: Sequence[str]) -> None:
        if self._chosen is None:
            self._choose(collection)
        self._chosen.add_node_collection(node, collection)

    def _choose(self, collection: Sequence[str]) -> None:
        usual = _USUAL[self._config.getvalue("dist")]
        kind: Any = PlanScheduling if any(map(is_of_plan, collection)) else usual
        self._chosen = kind(self._config, self._log)
        for node in self._nodes:
            self._chosen.add_node(node)

    def remove_node(self, node: Any) -> str | None:
        if self._chosen is None:
            self._nodes.remove(node)
            return None
        return self._chosen.remove_node(node)  # type: ignore[no-any-return]

    def __getattr__(self, name: str) -> Any:
        """The rest of what a scheduler is asked; before there is anything to do nothing is done."""
        if self._chosen is None:
            return {"collection_is_completed": False, "tests_finished": False, "has_pending": False}[name]
        return getattr(self._chosen, name)
