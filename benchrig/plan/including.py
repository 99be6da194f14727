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
from benchrig.source.nodes import locate, plain
from benchrig.source.problem import Problems, suggest
from benchrig.source.references import expressions, references
from benchrig.source.shape import BAD, Reader, describe
from benchrig.source.yaml import MAX_DEPTH, Node, Scalar, Sequence
from benchrig.source.yaml import Mapping as MappingNode

MAX_INCLUDES = 1000
KEYS = ("use", "with", "name", "only_if", "only_after", "proves")
# what each step of the file has beside its own
_OF_STEPS = ("only_if", "only_after", "proves")


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
            if key not in KEYS:
                self.problems.add(scalar.place, f"unknown key '{scalar.text}'", suggest(str(key), KEYS))
        path = self._path(node, via)
        if path is None:
            return None
        content = self._content(path, node)
        return None if content is None else (path, self._with_keys(content, node))

    def _with_keys(self, content: MappingNode, use: MappingNode) -> MappingNode:
        """The file with the keys of `use` at each of its steps."""
        steps = content.get("steps")
        if not isinstance(steps, Sequence) or use.entries.keys().isdisjoint(_OF_STEPS):
            return content
        items = [self._with_key(item, use) if isinstance(item, MappingNode) else item for item in steps.items]
        return MappingNode(
            {**content.entries, "steps": (content.entries["steps"][0], Sequence(items, steps.place))}, content.place
        )

    def _with_key(self, step: MappingNode, use: MappingNode) -> MappingNode:
        entries = dict(step.entries)
        for listed in {"only_after", "proves"} & use.entries.keys():
            key, names = use.entries[listed]
            entries[listed] = (key, Sequence([*_listed(names), *_listed(step.get(listed))], names.place))
        if "only_if" in use.entries:
            key, conditions = use.entries["only_if"]
            entries["only_if"] = (key, self._both(conditions, step.get("only_if")))
        return MappingNode(entries, step.place)

    def _both(self, of_use: Node, own: Node | None) -> Node:
        """All conditions of two; one value has one."""
        if not (isinstance(of_use, MappingNode) and isinstance(own, MappingNode)):
            return of_use if own is None or isinstance(own, MappingNode) else own
        for name, (key, _) in own.entries.items():
            if name in of_use.entries:
                message = f"the 'use' of this file has a condition on '{name}' too"
                self.problems.add(
                    key.place, message, "keep one of the two, or put the step into a group with the other"
                )
        return MappingNode({**of_use.entries, **own.entries}, own.place)

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
        target = cast("Scalar", use.entries["use"][1])
        included = self.files.read(path, target)
        if not isinstance(included, MappingNode):
            if included is not None:
                self.problems.add(included.place, "expected 'steps:' with a list of steps")
            return None
        before = self.problems.mistakes
        for reference, scalar in expressions(included.get("given") or target):
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


def _listed(names: Node | None) -> list[Node]:
    """What stands for one or several."""
    if names is None:
        return []
    return names.items if isinstance(names, Sequence) else [names]
