"""ask: a question to the operator."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping
from typing import Any, ClassVar, Literal

import msgspec

from benchrig.errors import OperatorError
from benchrig.source.references import as_text
from benchrig.source.shape import LooseText, Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, SECONDS, About, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.loss import LOSS
from benchrig.tasks import first_of
from benchrig.values.judging import kind_of, typed
from benchrig.values.quantity import Quantity, as_number, decimal_comma, exact, is_number
from benchrig.values.units import unit_named

_WORDS = {"yes": True, "true": True, "no": False, "false": False}


class Ask(Step, kw_only=True):
    """Ask, and take the answer as a reading. A run with nobody at the bench answers from a given value (`given`)."""

    verb: ClassVar[str] = "ask"
    usual: ClassVar[str] = "answer"
    may_lose: ClassVar[bool] = True
    needs: ClassVar[frozenset[Cap]] = NOTHING
    tries_again: ClassVar[bool] = False
    within_default: ClassVar[float] = 120.0
    elsewhere: ClassVar[dict[str, str]] = {"answer": "write 'kind'", "from": "write 'given'"}
    shown: ClassVar[dict[str, str]] = dict.fromkeys(("ask", "options"), "would be visible on the screen")

    ask: str
    kind: Literal["yes or no", "text", "choice", "number"] = "yes or no"
    options: list[str] = msgspec.field(default_factory=list)
    unit: str | None = None
    given: str | None = None
    about: About | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if (self.kind == "choice") != bool(self.options):
            yield Misfit("options belong to kind: choice, which needs at least one", path=("options",))
        if self.unit is not None:
            yield from self._misfits_of_unit(self.unit)

    def _misfits_of_unit(self, unit: str) -> Iterable[Misfit]:
        if self.kind != "number":
            yield Misfit("a unit belongs to a number", "write kind: number, or take out unit", ("unit",))
        try:
            unit_named(unit)
        except Misfit as misfit:
            yield Misfit(misfit.message, misfit.advice, ("unit",))

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {"answer": self._answer(), "elapsed": SECONDS, **LOSS}

    def _answer(self) -> ReadingType:
        if self.kind == "number":
            return ReadingType("number", self.unit or "")
        return ReadingType("boolean" if self.kind == "yes or no" else "text", options=tuple(self.options))

    async def run(self, bench: Bench) -> None:
        bench.acts()
        started = bench.now()
        answer = self._given(bench)
        if answer is None:
            answer = await self._in_time(bench)
        bench.reading("answer", answer, self.unit or "", telling=lambda broken: self._told(answer, broken))
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")

    def _told(self, answer: Any, broken: str) -> str:
        """What a broken limit says: alone, 'false is not true' tells nobody what was asked."""
        if isinstance(answer, bool):
            return f"'{self.ask}' was answered {'yes' if answer else 'no'}"
        return f"'{self.ask}' was answered: {broken}"

    async def _in_time(self, bench: Bench) -> Any:
        """A link that is lost meanwhile, which the plan does not ask for, ends the question: LinkLost."""
        within, answers = bench.time_left, list[Any]()

        async def answered() -> None:
            answers.append(await self._ask(bench))

        with bench.outside():
            await first_of(answered(), asyncio.sleep(within) if bench.may_lose else bench.pause(within))
        if not answers:
            raise OperatorError(f"nobody answered '{self.ask}' within {within:.3g} s")
        return answers[0]

    async def _ask(self, bench: Bench) -> Any:
        if self.kind == "yes or no":
            return await bench.operator.confirm(self.ask)
        if self.kind == "choice":
            return await bench.operator.choose(self.ask, self.options)
        if self.kind == "text":
            return await bench.operator.enter(self.ask)
        question = f"{self.ask} [{self.unit}]" if self.unit else self.ask
        return _number(await bench.operator.enter(question, self._problem_with), self.unit)

    def _problem_with(self, text: str) -> str:
        try:
            _number(text, self.unit)
        except Misfit as misfit:
            return f"{misfit.message}; {misfit.advice}"
        return ""

    def _given(self, bench: Bench) -> Any:
        """The answer that the run was given beforehand, None when it has to be asked for."""
        given = bench.given.get(self.given) if self.given else None
        if given is None:
            return None
        if self.kind == "number":
            return self._given_number(given)
        if self.kind == "yes or no":
            if str(given).lower() not in _WORDS:
                raise OperatorError(f"the given answer '{given}' is neither yes nor no")
            return _WORDS[str(given).lower()]
        if self.kind == "choice" and str(given) not in self.options:
            raise OperatorError(f"the given answer '{given}' is none of {', '.join(self.options)}")
        return str(given)

    def _given_number(self, given: Any) -> int | float:
        text = as_text(given) or ""
        if problem := self._problem_with(text):
            raise OperatorError(f"the given answer '{text}' is none: {problem}")
        return _number(text, self.unit)


def _number(text: str, unit: str | None) -> int | float:
    """What somebody typed, with or without its unit. Misfit for anything else."""
    if comma := decimal_comma(text):
        raise comma
    value = typed(LooseText(text.strip()))
    if kind_of(value) == "number" and is_number(value):
        return as_number(exact(value))
    expected = f"expected a number in {unit}" if unit else "expected a number"
    advice = f"for example: 4.95 {unit}" if unit else "for example: 4.95"
    try:
        if unit is not None:
            return as_number(Quantity.from_source(value).to(unit))
    except Misfit:
        pass
    raise Misfit(f"{expected}, found '{text}'", advice)
