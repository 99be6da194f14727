"""`use`: the steps of another file, with its parameters put in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import cast

from benchrig.plan.files import PlanFiles
from benchrig.plan.given import GivenValues
from benchrig.plan.given_spec import Given
from benchrig.plan.model import StepsFile
from benchrig.plan.substitution import Room, insert
from benchrig.source.problem import Problems, suggest
from benchrig.source.references import references
from benchrig.source.shape import BAD, Reader, describe, locate, plain
from benchrig.source.yaml import MAX_DEPTH, Scalar
from benchrig.source.yaml import Mapping as MappingNode

MAX_INCLUDES = 1000
_KEYS = ("use", "with", "name")


@dataclass
class Includes:
    """Of one plan: their number is bounded, and none includes itself."""

    files: PlanFiles
    given: GivenValues
    room: Room
    _count: int = 0

    @property
    def problems(self) -> Problems:
        return self.files.problems

    def included(self, node: MappingNode, via: tuple[Path, ...]) -> tuple[Path, MappingNode] | None:
        """The file of `use` and what is in it, with its parameters put in; None where that is wrong. `via` are the files
        that led here."""
        for key, (scalar, _) in node.entries.items():
            if key not in _KEYS:
                self.problems.add(scalar.place, f"unknown key '{scalar.text}'", suggest(str(key), _KEYS))
        path = self._path(node, via)
        if path is None:
            return None
        content = self._content(path, node)
        return None if content is None else (path, content)

    def _path(self, node: MappingNode, via: tuple[Path, ...]) -> Path | None:
        target = node.entries["use"][1]
        if not (isinstance(target, Scalar) and isinstance(target.value, str)):
            self.problems.add(target.place, f"expected a file name, found {describe(target)}")
            return None
        here = via[-1] if via else self.files.path
        try:
            path = (here.parent / target.value).resolve()
        except (OSError, RuntimeError, ValueError) as exc:
            self.problems.add(target.place, f"'{target.value}' is not a file name: {exc}")
            return None
        return path if self._may_include(path, target, via) else None

    def _may_include(self, path: Path, target: Scalar, via: tuple[Path, ...]) -> bool:
        plan = self.files.path.resolve()
        if path in (plan, *via):
            chain = " → ".join(p.name for p in (*(via or (plan,)), path))
            self.problems.add(target.place, f"circular include: {chain}", "take one of them out")
            return False
        self._count += 1
        if self._count > MAX_INCLUDES or len(via) >= MAX_DEPTH:
            self.problems.add(
                target.place, f"more than {MAX_INCLUDES} includes, or more than {MAX_DEPTH} within each other"
            )
            return False
        return True

    def _content(self, path: Path, use: MappingNode) -> MappingNode | None:
        target, included = cast("Scalar", use.entries["use"][1]), self.files.read(path)
        if not isinstance(included, MappingNode):
            if included is not None:
                self.problems.add(included.place, "expected 'steps:' with a list of steps")
            else:
                self.problems.add(target.place, f"the included file {target.value} cannot be used")
            return None
        before = self.problems.mistakes
        for reference, scalar in references(included.get("given") or target):
            self.problems.add(scalar.place, f"${{{reference}}} is not allowed here", "write the value")
        head = Reader(self.problems).read(included, StepsFile)
        if head is BAD or self.problems.mistakes > before:
            return None
        return self._with_parameters(included, head, use)

    def _with_parameters(self, included: MappingNode, head: StepsFile, use: MappingNode) -> MappingNode:
        given = use.get("with")
        if given is not None and not isinstance(given, MappingNode):
            self.problems.add(given.place, f"expected parameters by name, found {describe(given)}")
        arguments = plain(given) if isinstance(given, MappingNode) else {}
        for name in arguments:
            if name not in head.given:
                place = locate(use, ("with", name)).place
                self.problems.add(place, f"the file has no parameter '{name}'", suggest(str(name), head.given))
        used = {name for name, _ in references(locate(included, ("steps",)))}
        values = {}
        for name, spec in head.given.items():
            self._refuse_of_runs(name, spec, included)
            if name in arguments:
                values[name] = arguments[name]
                self.given.check_argument(name, spec, locate(use, ("with", name)), self.room)
            elif spec.default is not None:
                values[name] = spec.default
            else:
                self.problems.add(use.place, f"the included file needs the parameter '{name}'", f"with: {{{name}: …}}")
                values[name] = ""
            if name not in used:
                self.problems.add(locate(included, ("given", name)).place, f"the parameter '{name}' is not used")
        return cast("MappingNode", insert(included, values, self.room))

    def _refuse_of_runs(self, name: str, spec: Given, included: MappingNode) -> None:
        """A parameter comes from a plan, not from a person."""
        for key in spec.of_runs:
            if getattr(spec, key):
                place = locate(included, ("given", name, key)).place
                self.problems.add(place, f"a parameter has no {key}", "write it under given: of the plan")
