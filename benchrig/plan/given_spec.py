"""`given`: what a plan says of a value that comes from outside."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from benchrig.record.secrets import SHORTEST
from benchrig.source.shape import Misfit
from benchrig.values.judging import BoundLimit, Kind, typed
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import AnyValue
from benchrig.values.quantity import Quantity, as_number, exact


class Given(Limit, frozen=True, omit_defaults=True):
    """A value that comes from outside the plan: a default, and the limit it must satisfy. A `secret` one reaches the
    unit and nothing else."""

    default: AnyValue | None = None
    secret: bool = False

    def misfits(self) -> Iterable[Misfit]:
        if self.secret and self.default is not None:
            yield Misfit("the default of a secret would be visible in the plan", "leave the default out", ("default",))
        if self.limit_keys():
            yield from super().misfits()
        try:
            self._bound()
            problem = "" if self.default is None else self.problem_with(self.default)
        except Misfit as misfit:
            yield misfit
        else:
            if problem:
                yield Misfit(f"the default: {problem}", "write one that fits the limit", path=("default",))

    def limit_keys(self) -> list[str]:
        return [key for key in self.keys() if key not in ("default", "secret")]

    def problem_with(self, value: Any) -> str:
        """Why the value is not acceptable, '' when it is. Raises Misfit when the limit itself makes no sense."""
        problem = self._problem_with(value) if self.limit_keys() else ""
        if self.secret and len(str(value)) < SHORTEST:
            return f"a secret has at least {SHORTEST} characters: a shorter one occurs by chance in other texts"
        return "it does not satisfy its limit" if problem and self.secret else problem

    def _problem_with(self, value: Any) -> str:
        kind, unit = self._kind()
        limit = self._bound()
        if kind == "number":
            number = _number(typed(value), unit)
            if number is None:
                return f"'{value}' is not a {'quantity in ' + unit if unit else 'number'}"
            value = number
        judgement = limit.judge(value if kind == "number" else str(value))
        return "" if judgement.passed else judgement.sentence

    def _bound(self) -> BoundLimit:
        """The limit alone. Raises Misfit when nothing could satisfy it."""
        return Limit(**{key: getattr(self, key) for key in self.limit_keys()}).bind(*self._kind())

    def _kind(self) -> tuple[Kind, str]:
        for key in ("min", "max", "nominal", "tolerance"):
            if key in self.limit_keys():
                bound = getattr(self, key)
                bound = Quantity.from_source(bound) if isinstance(bound, str) else bound
                return "number", bound.unit.symbol if isinstance(bound, Quantity) else ""
        return "text", ""


def _number(value: Any, unit: str) -> float | int | None:
    try:
        if isinstance(value, str):
            value = Quantity.from_source(value)
        if isinstance(value, Quantity):
            return as_number(value.to(unit)) if unit else None
    except Misfit:
        return None
    is_number = isinstance(value, (int, float, Decimal)) and not isinstance(value, bool)
    return None if unit or not is_number else as_number(exact(value))
