"""The base of step kinds that other packages bring: what the reference says of it stays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, ClassVar

from benchrig.errors import UsageError
from benchrig.source.problem import suggest
from benchrig.steps.base import ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.lent import Bench as LentBench
from benchrig.steps.returned import readings_of
from benchrig.values.judging import kind_of
from benchrig.values.units import dimension_of

if TYPE_CHECKING:
    from benchrig.steps.returned import Value


class BroughtStep(Step, kw_only=True):
    """A step kind of another package. It has the bench that functions of a plan have, and returns what they may return."""

    # code of the package runs in it, and may write: a station can forbid it, and a caution comes before it
    executes: ClassVar[bool] = True
    writes: ClassVar[bool] = True
    # a limit on a reading that it did not give is nobody's but the package's
    readings_are_foreign: ClassVar[bool] = True

    async def act(self, bench: LentBench) -> Mapping[str, Value] | Value | None:
        """Do it; what is returned are readings."""
        raise NotImplementedError

    async def run(self, bench: Bench) -> None:
        started = bench.now()
        with _Declared(bench, self.readings(bench.names) or {}) as lent:
            result = await self.act(lent)
            if bench.wanted("elapsed"):
                lent.reading("elapsed", bench.since(started), "s")
            for name, value, unit in readings_of(result, f"{self.verb} returned"):
                lent.reading(name, value, unit, why=f"{self.verb} returned none" if value is None else "")


class _Declared(LentBench):
    """Takes the readings that the step kind has said it gives: what is of another kind is its own mistake, not the unit's."""

    def __init__(self, lender: Bench, types: Mapping[str, ReadingType]) -> None:
        super().__init__(lender)
        self._types = types

    def reading(self, name: str, value: Any, unit: str = "", *, why: str = "") -> None:
        if (declared := self._types.get(name)) is None:
            raise UsageError(f"it gave a reading '{name}'", advice=suggest(name, self._types))
        if value is not None and (wrong := _misfit(declared, value, unit)):
            raise UsageError(f"its reading '{name}' is {wrong}", advice="give what 'readings' says")
        super().reading(name, value, unit, why=why)


def _misfit(declared: ReadingType, value: Any, unit: str) -> str:
    """How a value is not what was declared; '' where it is. A date and time is text in Python."""
    kind, wanted = kind_of(value, unit), "text" if declared.kind == "time" else declared.kind
    if wanted not in (kind, "any"):
        return f"of the kind {kind}, not {declared.kind}"
    if wanted == "number" and dimension_of(unit) != dimension_of(declared.unit):
        return f"in {unit or 'no unit'}, not in {declared.unit or 'no unit'}"
    return ""
