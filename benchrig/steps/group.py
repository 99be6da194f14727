"""group: steps that belong together, with a set-up and a clean-up of their own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

import msgspec

from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import ReadingType
from benchrig.steps.composite import OF_STEPS, Came, Composite, CompositeBench, StepList
from benchrig.steps.rounds import RoundReadings


class Group(Composite, kw_only=True):
    """Carry out `first`, `steps` and `finally`. When `first` does not pass, the other two are left out and the plan goes
    on; else `finally` runs whatever becomes of `steps`."""

    verb: ClassVar[str] = "group"
    parts: ClassVar[tuple[str, ...]] = ("first", "steps", "finally")

    group: str
    first: StepList | None = None
    finally_: StepList | None = msgspec.field(name="finally", default=None)

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.name is not None:
            yield Misfit(
                "a group has its name behind the verb", f"write group: {self.name}, and take out name", ("name",)
            )

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return OF_STEPS

    @property
    def title(self) -> str:
        return self.group

    @property
    def given_name(self) -> str | None:
        return self.group

    async def run(self, bench: CompositeBench) -> None:  # type: ignore[override]
        started, inner = bench.now(), RoundReadings(bench, {*self.limits, *self.save}, set())
        came = await bench.inside.run("first", watch=inner)
        error = came.error
        for part in ("steps", "finally"):
            came += await bench.inside.run(part, watch=inner) if error is None else bench.inside.leave_out(part, error)
        self._report(bench, came, bench.since(started), inner)

    def _report(self, bench: CompositeBench, came: Came, elapsed: float, inner: RoundReadings) -> None:
        self.cut_short(came)
        bench.reading("elapsed", elapsed, "s")
        self.report_counts(bench, came)
        inner.report()
        self.conclude(came)
