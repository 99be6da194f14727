"""Parts of a label that a plan keeps secret: they reach the plan, and nothing that the line keeps or shows."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TypeVar

from benchrig.errors import BenchrigError
from benchrig.line.barcode import Match, Read, Refusal
from benchrig.line.plans import HERE, IDENTITY, files_for, load
from benchrig.plan.model import Plan
from benchrig.record.secrets import MASK
from benchrig.station.station import Station

R = TypeVar("R", bound=Read)


@dataclass
class Hidden:
    """`names` are those of the groups of a label that are secret, by product; a product that is not in it has a plan that could not be
    loaded: each group may be one of them, but for those that say which unit it is."""

    names: dict[str, frozenset[str]] = field(default_factory=dict)

    @classmethod
    def at(cls, station: Station) -> Hidden:
        """By the plans of the products as they are now."""
        hidden = cls()
        for product in station.products:
            try:
                hidden.learn(product, load(station, HERE, files_for(station, product), None))
            except BenchrigError:
                continue  # told where a unit of it is scanned
        return hidden

    def learn(self, product: str, plan: Plan) -> None:
        secret = {name for name, spec in plan.given.items() if spec.secret} | plan.concealed_names
        self.names[product] = frozenset(secret)

    def covered(self, said: R) -> R:
        """What was read, with a mask in place of what is secret. Of a text that is refused nobody knows which part of it is."""
        if isinstance(said, Refusal) and any(self.names.values()):
            return replace(said, text=f"a text of {len(said.text)} characters")
        if not isinstance(said, Match):
            return said
        text = said.text
        for name, value in said.values.items():
            if value and name not in IDENTITY and name in self.names.get(said.product, said.values):
                text = text.replace(value, MASK)
        return replace(said, text=text)
