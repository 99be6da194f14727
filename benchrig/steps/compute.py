"""compute: readings from values that are there already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from benchrig.source.shape import Misfit, is_late
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.values.judging import kind_of, typed
from benchrig.values.limit_keys import AnyValue
from benchrig.values.quantity import Quantity, as_number, exact, is_number
from benchrig.values.value import Word


class Compute(Step, kw_only=True):
    """Work out readings from given and saved values: each key is one, `{used: '${before - after}'}`."""

    verb: ClassVar[str] = "compute"
    needs: ClassVar[frozenset[Cap]] = NOTHING
    tries_again: ClassVar[bool] = False
    works_out: ClassVar[bool] = True
    instant: ClassVar[bool] = True
    shown: ClassVar[dict[str, str]] = {"compute": "would be a reading in every report"}

    compute: dict[str, AnyValue]

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if not self.compute:
            yield Misfit("compute works out nothing", "for example: used: '${before - after}'", ("compute",))
        for name, value in self.compute.items():
            if not name.strip() or not name.isprintable():
                yield Misfit("a reading needs a name that can be printed", "write a name", ("compute", name))
            if isinstance(value, dict) or value is None:
                message = f"'{name}' is not a single value"
                yield Misfit(message, "for example: '${before - after}'", ("compute", name))

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {} if is_late(self.compute) else {name: _type(value) for name, value in self.compute.items()}

    @property
    def title(self) -> str:
        return self.verb if is_late(self.compute) else f"{self.verb} {', '.join(self.compute)}"

    async def run(self, bench: Bench) -> None:
        for name, given in self.compute.items():
            value, unit = _measured(given)
            if isinstance(value, Word):
                bench.reading(name, None, why=f"the unit gave '{value}' for a value in it")
            else:
                bench.reading(name, value, unit)


def _type(value: Any) -> ReadingType:
    """Of a word in place of a number nobody knows what it would have been."""
    if is_late(value):
        return ReadingType("any")
    value, unit = _measured(value)
    return ReadingType("any" if isinstance(value, Word) else kind_of(value, unit), unit)


def _measured(value: Any) -> tuple[Any, str]:
    """A value as a reading has it, and its unit; what is written as a quantity is one."""
    value = typed(value)
    if isinstance(value, str) and not isinstance(value, Word):
        try:
            value = Quantity.from_source(value)
        except Misfit:
            return str(value), ""
    if isinstance(value, Quantity):
        return as_number(value.number), value.unit.symbol
    return (as_number(exact(value)) if is_number(value) else value), ""
