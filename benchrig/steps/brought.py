"""The base of step kinds that other packages bring: what the reference says of it stays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

from benchrig.steps.base import Step
from benchrig.steps.bench import Bench
from benchrig.steps.lent import Bench as LentBench
from benchrig.steps.returned import readings_of

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
        with LentBench(bench) as lent:
            result = await self.act(lent)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")
        for name, value, unit in readings_of(result, f"{self.verb} returned"):
            bench.reading(name, value, unit, why=f"{self.verb} returned none" if value is None else "")
