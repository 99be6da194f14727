"""The files that a plan is read from, and the hash over all of them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchrig.source.problem import Place, Problems
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, file_bytes, read_bytes


@dataclass
class PlanFiles:
    """`path` is the file of the plan itself; `text` stands for what is in it, where that is another one. `forbid` is what
    the station does not allow."""

    path: Path
    problems: Problems
    text: str | None = None
    forbid: Sequence[str] = ()
    # where each file that was read begins
    begins: list[Place] = field(default_factory=list)
    _digest: Any = field(default_factory=hashlib.sha256)
    _names: frozenset[str] = frozenset()

    def read(self, path: Path, asked: Scalar | None = None, least: str = "write at least 'steps:'") -> Node | None:
        """The file's tree; its bytes count for the hash of the plan. `asked` is where another file names it, `least`
        says what such a file needs."""
        if path == self.path:
            least = "write at least 'plan:', 'device:' and 'steps:'"
        name = _shown(path, self.path)
        own = self.text if path == self.path else None
        data = file_bytes(path, self.problems, name, asked) if own is None else own.encode()
        if data is None:
            return None
        node = read_bytes(data, name, self.problems, least)
        self.problems.settle()
        if node is not None:
            self._digest.update(data)
            self.begins.append(node.place)
            self._define(node, plan=path == self.path)
        return node

    def _define(self, node: Node, *, plan: bool) -> None:
        """Names of values that are no identifiers come before arithmetic; those of the plan hold in all its files."""
        given = node.get("given") if isinstance(node, MappingNode) else None
        names = given.entries if isinstance(given, MappingNode) else ()
        own = frozenset(name for name in names if isinstance(name, str) and not name.isidentifier())
        self._names |= own if plan else frozenset()
        node.place.source.names = self._names | own

    @property
    def hash(self) -> str:
        """SHA-256 over the files that were read so far."""
        return str(self._digest.hexdigest())


def _shown(path: Path, plan: Path) -> str:
    """A path for messages: relative to the plan where that is shorter."""
    if path == plan:
        return str(path)
    try:
        return str(plan.parent / path.relative_to(plan.parent.resolve()))
    except ValueError:
        return str(path)
