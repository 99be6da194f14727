"""What is written of a step in the plan as the run kept it, and in another revision: whether it does the same."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any

from benchrig.record.events import PlannedNode, PlanSource
from benchrig.record.secrets import MASK
from benchrig.source.nodes import as_written
from benchrig.source.problem import Problems
from benchrig.source.yaml import Mapping, Node, Sequence, read_text

# What another revision may say otherwise of a step that does the same; what is in it is compared by itself.
_BESIDE = frozenset({"expect", "name", "proves", "on_fail", "only_after", "only_if", "save", "keep_samples", "device",
                     "steps", "first", "finally"})  # fmt: skip


class StepTexts:
    """The steps of the files of a plan, by where they begin."""

    def __init__(self, sources: Iterable[PlanSource]) -> None:
        self._steps: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
        for source in sources:
            problems = Problems()
            node = read_text(_readable(source.text), source.file, problems) if not source.left_out else None
            for each in _mappings(node) if node is not None and not problems.found else ():
                self._steps[f"{source.file}:{each.place.line}"].append(as_written(each))

    def step(self, node: PlannedNode) -> dict[str, Any] | None:
        """None where the text was not kept, or does not tell which one it is."""
        found = [each for each in self._steps.get(node.place, ()) if node.kind in each]
        return found[0] if len(found) == 1 else None


def _readable(text: str) -> str:
    """With what stands for a secret as the text that it is."""
    mask = re.escape(MASK)
    return re.sub(rf"(?m)^ *{mask}$", "", re.sub(rf"(?m): {mask}$", f": '{MASK}'", text))


def _mappings(node: Node) -> Iterator[Mapping]:
    if isinstance(node, Mapping):
        yield node
    parts = [part for _, part in node.entries.values()] if isinstance(node, Mapping) else []
    for part in node.items if isinstance(node, Sequence) else parts:
        yield from _mappings(part)


def differing(before: dict[str, Any] | None, after: dict[str, Any] | None) -> str:
    """The first key that makes it do something else; '' for none, and where the text is not known."""
    if before is None or after is None:
        return ""
    keys = [key for key in {**before, **after} if key not in _BESIDE]
    return next((str(key) for key in keys if before.get(key) != after.get(key)), "")


def same_limits(before: dict[str, Any] | None, after: dict[str, Any] | None) -> frozenset[str]:
    """The readings whose limit is written as it was."""
    written, now = ((each or {}).get("expect") for each in (before, after))
    if not isinstance(written, dict) or not isinstance(now, dict):
        return frozenset()
    return frozenset(str(name) for name, limit in now.items() if name in written and written[name] == limit)
