"""wait: a pause."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, SECONDS, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.loss import LOSS
from benchrig.values.quantity import Duration


class Wait(Step, kw_only=True):
    """Let time pass; a link that is lost meanwhile ends it."""

    verb: ClassVar[str] = "wait"
    may_lose: ClassVar[bool] = True
    needs: ClassVar[frozenset[Cap]] = NOTHING
    tries_again: ClassVar[bool] = False

    wait: Duration

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.within is not None and self.within.seconds < self.wait.seconds:
            message = f"within {self.within} ends before the wait of {self.wait} is over"
            yield Misfit(message, f"write within: {self.wait} or more, or leave it out", ("within",))

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {"elapsed": SECONDS, **LOSS}

    @property
    def deadline(self) -> float:
        return self.within.seconds if self.within else self.wait.seconds + 1

    @property
    def title(self) -> str:
        return f"wait {self.wait}"

    async def run(self, bench: Bench) -> None:
        bench.acts()
        started = bench.now()
        await bench.pause(self.wait.seconds)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")
