"""Steps in Python's words -> steps of a plan, by the reader of plans."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

from benchrig.api.opened import OpenStep
from benchrig.api.words import step_node
from benchrig.errors import PlanError
from benchrig.plan.checks import check_caution
from benchrig.plan.files import PlanFiles
from benchrig.plan.given import GivenValues
from benchrig.plan.lists import StepLists
from benchrig.plan.tree import Part, StepPlan
from benchrig.plan.variants import Variants
from benchrig.source.problem import Place, Problems
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar, Sequence
from benchrig.steps.attribute import Names

# Keys by which a plan says what Python says itself.
_PYTHONS = {
    "only_if": "write an if in Python",
    "only_after": "what fails raises: write the step after the other one",
    "on_fail": "what fails raises: catch it, or do not",
    "save": "the step returns its readings",
    "proves": "requirements are those of a plan",
    "device": "ask the unit, or its link, for the step",
}


class Request(NamedTuple):
    """A step that Python asks for. `device` is the key of the one that it is about, '' for none; `place` the line that asks."""

    verb: str
    subject: object
    keys: Mapping[str, object]
    device: str
    place: Place


@dataclass
class StepReader:
    """Of one run. `names` are those of its devices for attributes; `path` is what the names of files are seen from."""

    path: Path
    caution: str = ""
    names: dict[str, Names] = field(default_factory=lambda: {"": Names()})
    problems: Problems = field(default_factory=Problems)
    _named: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        given, variants = GivenValues(self.problems, {}), Variants(self.problems)
        self._lists = StepLists(PlanFiles(self.path, self.problems), given, variants, self.names)

    def step(self, asked: Request, outer: OpenStep | None = None) -> StepPlan:
        """One that comes after all others, or in an `outer` one. PlanError with all that is wrong with it."""
        verb, subject, keys, device, place = asked
        if verb == "group" and isinstance(subject, str):  # that is its name
            subject = self._unused(subject)
        node = step_node(verb, subject, self._keys(keys, device), place)
        nodes = self._lists.nodes if outer is None else outer.children
        known = len(nodes)
        try:
            for key in keys.keys() & _PYTHONS.keys():
                self.problems.add(place, f"'{key}' is for plans", _PYTHONS[key])
            if outer is None:
                self._lists.add(_list_of(node), "steps")
            else:
                self._lists.add_inside(Sequence([node], place), outer.plan, nodes)
            check_caution(self.problems, self.caution, nodes[known:])
            self.problems.raise_if_any()
        except PlanError:
            del nodes[known:]
            self.problems.found.clear()
            raise
        return nodes[known]

    def open_step(self, asked: Request, outer: OpenStep | None = None) -> StepPlan:
        """A composite one in which nothing is so far."""
        written = self.step(asked._replace(keys={**asked.keys, "steps": [{"wait": "0 s"}]}), outer)
        step = replace(written, parts=(Part("steps", ()),))
        nodes = self._lists.nodes if outer is None else outer.children
        nodes[-1] = step
        return step

    def _keys(self, keys: Mapping[str, object], device: str) -> dict[str, object]:
        """With the device, and with a name that no step before has."""
        about = {"device": device} if device else {}
        name = keys.get("name")
        if not isinstance(name, str):
            return {**keys, **about}
        return {**keys, **about, "name": self._unused(name)}

    def _unused(self, name: str) -> str:
        self._named[name] += 1
        count = self._named[name]
        return name if count == 1 else f"{name} ({count})"


def _list_of(step: MappingNode) -> MappingNode:
    key = Scalar("steps", "steps", True, step.place, final=True)
    return MappingNode({"steps": (key, Sequence([step], step.place))}, step.place)
