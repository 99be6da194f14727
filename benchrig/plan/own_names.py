"""A plan's own names for attributes: from the plan itself, and from files that several plans share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar

import msgspec

from benchrig.plan.files import PlanFiles
from benchrig.source.nodes import locate
from benchrig.source.problem import Problems
from benchrig.source.references import expressions
from benchrig.source.shape import BAD, Misfit, Reader, is_late
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar, Sequence
from benchrig.steps.attribute import AttributeSpec, Names

# Stands for a name whose definition is wrong: it must not look unknown in every step that uses it.
_UNCLEAR = AttributeSpec(handle=0xFFFF)


class SharedNames(msgspec.Struct, omit_defaults=True):
    """A file of names: nothing else, so that every plan may take it."""

    elsewhere: ClassVar[dict[str, str]] = {
        **dict.fromkeys(("plan", "device", "select", "given", "steps"), "write it in the plan"),
        "use": "name the other file in the plan too: use: [names.yaml, more.yaml]",
        "names": "write 'attributes'",
    }

    attributes: dict[str, AttributeSpec]


def is_names_file(node: Node) -> bool:
    return isinstance(node, MappingNode) and "attributes" in node.entries and not node.entries.keys() & _OF_OTHERS


_OF_OTHERS = {"plan", "device", "steps", "devices", "services"}


@dataclass
class OwnNames:
    """Collects them; a name has one meaning."""

    files: PlanFiles
    _specs: dict[str, AttributeSpec] = field(default_factory=dict)
    # the keys where they are written, with what is written there
    _written: dict[str, tuple[Scalar, Node]] = field(default_factory=dict)
    _are_all: bool = True

    @property
    def problems(self) -> Problems:
        return self.files.problems

    def use(self, listed: Node | None) -> None:
        """The names of the files that are listed."""
        for scalar in _scalars(listed):
            if isinstance(scalar.value, str) and scalar.value:
                self._use_file(scalar)

    def _use_file(self, written: Scalar) -> None:
        path = self.files.path.parent / str(written.value)
        node = self.files.read(path, written, "write 'attributes:' with the names")
        if node is None:
            self._are_all = False
        else:
            self.file(node)

    def file(self, node: Node) -> None:
        """The names of a file that has been read."""
        for name, scalar in expressions(node):
            self.problems.add(scalar.place, f"${{{name}}} is not allowed here", "write the value")
        attributes = locate(node, ("attributes",))
        Reader(self.problems).read(node, SharedNames)
        self.take(readable(attributes), attributes)

    def take(self, named: Mapping[str, AttributeSpec], attributes: Node) -> None:
        """The names of one `attributes:`."""
        entries = attributes.entries if isinstance(attributes, MappingNode) else {}
        for name, spec in named.items():
            self._add(name, spec, *entries[name])

    def _add(self, name: str, spec: AttributeSpec, key: Scalar, node: Node) -> None:
        if "/" in name or "[" in name:
            self.problems.add(node.place, f"the name '{name}' has a '/' or '['", "write it without")
            return
        try:
            Names({name: spec})
        except Misfit as misfit:
            Reader(self.problems).misfit(node, misfit)
            return
        if name not in self._specs:
            self._specs[name], self._written[name] = spec, (key, node)
        elif spec != self._specs[name] and _UNCLEAR not in (spec, self._specs[name]):
            first = self._written[name][0].place
            message = f"the name '{name}' has another meaning in {first.source.name}:{first.line}"
            self.problems.add(key.place, message, "give one of the two another name")

    def names(self) -> Names:
        """All of them. The services that they stand in must be known."""
        known, good = Names(self._specs), dict(self._specs)
        for name, spec in self._specs.items():
            if spec.service is not None:
                try:
                    known.service(spec.service)
                except Misfit as misfit:
                    place = locate(self._written[name][1], ("service",)).place
                    self.problems.add(place, misfit.message, misfit.advice)
                    good[name] = _UNCLEAR
        return Names(good, are_all=self._are_all)


def _scalars(node: Node | None) -> Iterator[Scalar]:
    for item in node.items if isinstance(node, Sequence) else [node]:
        if isinstance(item, Scalar):
            yield item


def readable(attributes: Node | None) -> dict[str, AttributeSpec]:
    """The names of an `attributes:` that may be wrong; what is wrong is told elsewhere."""
    entries = attributes.entries if isinstance(attributes, MappingNode) else {}
    specs = {name: Reader(Problems()).read(node, AttributeSpec) for name, (_, node) in entries.items()}
    return {
        name: _UNCLEAR if spec is BAD or is_late(spec) else spec
        for name, spec in specs.items()
        if isinstance(name, str)
    }


def names_in(path: Path, node: Node, problems: Problems) -> Names:
    """The names of a file of names alone."""
    own = OwnNames(PlanFiles(path, problems))
    own.file(node)
    return own.names()
