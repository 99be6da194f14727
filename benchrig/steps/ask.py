"""ask: a question to the operator."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping
from typing import Any, ClassVar, Literal

import msgspec

from benchrig.errors import OperatorError
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, SECONDS, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.loss import LOSS


class Ask(Step, kw_only=True):
    """Ask, and take the answer as a reading. A run with nobody at the bench answers from a given value (`given`)."""

    verb: ClassVar[str] = "ask"
    may_lose: ClassVar[bool] = True
    needs: ClassVar[frozenset[Cap]] = NOTHING
    tries_again: ClassVar[bool] = False
    within_default: ClassVar[float] = 120.0
    elsewhere: ClassVar[dict[str, str]] = {"answer": "write 'kind'", "from": "write 'given'"}
    shown: ClassVar[dict[str, str]] = dict.fromkeys(("ask", "options"), "would be visible on the screen")

    ask: str
    kind: Literal["yes or no", "text", "choice"] = "yes or no"
    options: list[str] = msgspec.field(default_factory=list)
    given: str | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if (self.kind == "choice") != bool(self.options):
            yield Misfit("options belong to kind: choice, which needs at least one", path=("options",))

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        answer = ReadingType("boolean" if self.kind == "yes or no" else "text", options=tuple(self.options))
        return {"answer": answer, "elapsed": SECONDS, **LOSS}

    async def run(self, bench: Bench) -> None:
        bench.acts()
        started = bench.now()
        answer = self._given(bench)
        if answer is None:
            answer = await self._in_time(bench)
        bench.reading("answer", answer)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")

    async def _in_time(self, bench: Bench) -> bool | str:
        within = bench.time_left
        try:
            with bench.outside():
                async with asyncio.timeout(within):
                    return await self._ask(bench)
        except TimeoutError as exc:
            raise OperatorError(f"nobody answered '{self.ask}' within {within:.3g} s") from exc

    async def _ask(self, bench: Bench) -> bool | str:
        if self.kind == "yes or no":
            return await bench.operator.confirm(self.ask)
        if self.kind == "choice":
            return await bench.operator.choose(self.ask, self.options)
        return await bench.operator.enter(self.ask)

    def _given(self, bench: Bench) -> bool | str | None:
        """The answer that the run was given beforehand, None when it has to be asked for."""
        given: Any = bench.given.get(self.given) if self.given else None
        if given is None:
            return None
        if self.kind == "yes or no":
            answers = {"yes": True, "true": True, "no": False, "false": False}
            if str(given).lower() not in answers:
                raise OperatorError(f"the given answer '{given}' is neither yes nor no")
            return answers[str(given).lower()]
        if self.kind == "choice" and str(given) not in self.options:
            raise OperatorError(f"the given answer '{given}' is none of {', '.join(self.options)}")
        return str(given)
