"""The values of a run: defaults of the plan, and what the run was given for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from benchrig.errors import UsageError
from benchrig.plan.given_spec import Given
from benchrig.plan.substitution import Room, substitute
from benchrig.source.nodes import locate, plain
from benchrig.source.problem import NOWHERE, Problems, suggest
from benchrig.source.references import has_reference
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node


class MissingGiven(UsageError):
    """A run without values that the plan needs; whoever starts it may still ask for them."""

    def __init__(self, missing: Mapping[str, Given]) -> None:
        names = ", ".join(f"'{name}'" for name in missing)
        advice = " ".join(f"--set {name}={'@FILE' if given.secret else '…'}" for name, given in missing.items())
        super().__init__(f"the plan needs a value for {names}", advice=advice)
        self.missing = dict(missing)


@dataclass
class GivenValues:
    """`values` by name as far as they are known; `missing` are those that a run has to be given."""

    problems: Problems
    # the values of the run, as text; None where only what does not depend on them is checked
    given: Mapping[str, str] | None
    # what random values are drawn from; None for new ones each time
    seed: int | None = None
    values: dict[str, Any] = field(default_factory=dict)
    missing: dict[str, Given] = field(default_factory=dict)
    secrets: frozenset[str] = frozenset()
    # the whole texts that values were taken out of
    scanned: dict[str, str] = field(default_factory=dict)

    @property
    def open(self) -> dict[str, Any]:
        """Those that a message may have in it: a secret is filled in when its step runs."""
        return {name: value for name, value in self.values.items() if name not in self.secrets}

    def take(self, specs: Mapping[str, Given], node: MappingNode) -> None:
        """Defaults and the values of the run."""
        places = locate(node, ("given",))
        self.secrets = frozenset(name for name, spec in specs.items() if spec.secret)
        for name, spec in specs.items():
            if spec.default is not None:
                self.values[name] = spec.default
            elif spec.random is not None:
                self.values[name] = spec.random.draw(self._seed_of(name))
            if self.given is not None and name in self.given:
                self._set(name, spec, self.given[name], locate(places, (name,)))
            elif self.given is not None and name not in self.values:
                self.missing[name] = spec
        for name in self.given or ():
            if name not in specs:
                advice = suggest(name, specs) or "the plan has no given values"
                self.problems.add(NOWHERE, f"the plan has no given value '{name}'", advice)

    def _seed_of(self, name: str) -> str | None:
        """Without a run any value of the size will do."""
        seed = 0 if self.given is None else self.seed
        return None if seed is None else f"{seed} {name}"

    def _set(self, name: str, spec: Given, text: str, node: Node) -> None:
        try:
            value = self.values[name] = spec.taken(text)
        except Misfit as misfit:
            self.problems.add(NOWHERE, f"the given value {name}: {misfit.message}", misfit.advice)
            return
        if spec.part is not None and not spec.secret:
            self.scanned[name] = text
        try:
            problem = spec.problem_with(value)
        except Misfit as misfit:
            self.problems.add(node.place, misfit.message, misfit.advice)
            return
        if problem:
            self.problems.add(NOWHERE, f"the given value {name}: {problem}", f"see the plan's limit in {node.place}")
            del self.values[name]  # what it does where it is used is no mistake of the plan

    def check_argument(self, name: str, spec: Given, node: Node, room: Room) -> None:
        """See that an argument satisfies the limit of the parameter, where it is known before the run and no secret."""
        known, place = substitute(node, self.open, room, partly=True), node.place
        if has_reference(known):
            return
        try:
            problem = spec.problem_with(plain(known))
        except Misfit as misfit:
            problem = misfit.message
        if problem:
            self.problems.add(place, f"the parameter {name}: {problem}")
