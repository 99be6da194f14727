"""Where the numbers of a pairing come from: the plan, the steps in it, or the person at the bench. They are shown large,
and are in no sentence that is kept."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from typing import Any, Literal, TypeVar

import msgspec

from benchrig.errors import OperatorError, StepFailed
from benchrig.radio.security import LINK_LOST, NONE, Paired
from benchrig.source.problem import printable
from benchrig.source.shape import is_late
from benchrig.steps.bench import Bench, Own, in_step
from benchrig.steps.composite import Came, Composite, CompositeBench, Watch
from benchrig.steps.pairing_keys import Pairing
from benchrig.tasks import Tasks, first_of
from benchrig.text.large import large
from benchrig.values.passkey import PASSKEY_ASKED, digits_of, typed_digits, wrong_digits

T = TypeVar("T")

# The other end waits 30 s for the next word (Core Vol 3 Part H 3.4); the answer has to be on its way by then.
ANSWER_WITHIN = 28.0
# The name of the number that the bench shows, for the steps that do something with it.
SHOWN = "shown"


@dataclass
class Question:
    """What the radio wants to know. `number` is what the bench shows, or compares."""

    kind: Literal["enter", "show", "compare"]
    number: int = field(default=0, repr=False)
    answer: asyncio.Future[Any] = field(default_factory=lambda: asyncio.get_running_loop().create_future(), repr=False)

    @property
    def digits(self) -> str:
        return digits_of(self.number)


class Questions:
    """The Party that the radio asks (radio/security.py): its questions wait for who has started the pairing."""

    def __init__(self, passkey: int | None) -> None:
        self._passkey = passkey
        self._open: list[Question] = []
        self._asked = asyncio.Event()

    async def enter(self) -> int | None:
        return await self._answer(Question("enter"))  # type: ignore[no-any-return]

    def chosen(self) -> int | None:
        return self._passkey

    async def show(self, passkey: int) -> None:
        await self._answer(Question("show", passkey))

    async def compare(self, number: int) -> bool:
        return bool(await self._answer(Question("compare", number)))

    async def _answer(self, question: Question) -> Any:
        self._open.append(question)
        self._asked.set()
        return await question.answer

    async def next(self, pairing: asyncio.Task[Paired]) -> Question | None:
        """The next question; None when the pairing is over."""
        await first_of(self._asked.wait(), _over(pairing))
        if pairing.done():
            return None
        question = self._open.pop(0)
        if not self._open:
            self._asked.clear()
        return question


async def _over(pairing: asyncio.Task[Paired]) -> None:
    await asyncio.wait({pairing})


class Numbers:
    """Answers the questions of a pairing for the bench: from the keys of the step, and by the operator where they say nothing.
    OperatorError."""

    def __init__(self, bench: Bench, pairing: Pairing, own: Own = in_step, purpose: str = "") -> None:
        """`purpose` is what the pairing is for, where a step has several."""
        self.pairing, self.own = pairing, own
        self._for = (f" (for {purpose})" if purpose else "") + f", within {ANSWER_WITHIN:g} s"
        self._bench = bench
        # whether the bench has said no, by the plan or by the person at it
        self.refused = False

    async def answer(self, question: Question) -> Any:
        if question.kind == "enter":
            return await self._enter()
        if question.kind == "show":
            return await self._show(question)
        is_same = await self._compare(question)
        self.refused = not is_same
        return is_same

    async def _enter(self) -> int:
        passkey = self.pairing.passkey
        if passkey is not None:
            return passkey.number
        question = f"{PASSKEY_ASKED} {self._unit} shows{self._for}"
        digits = typed_digits(await self._ask(lambda: self._bench.operator.enter(question, wrong_digits)))
        self._bench.keep_secret(digits)
        return int(digits)

    async def _show(self, question: Question) -> None:
        """The plan may know who types its own passkey: then nobody has to be there to read it."""
        told = self._bench.operator.tell(f"Type this passkey on {self._unit}{self._for}:\n{large(question.digits)}")
        with contextlib.suppress(*([OperatorError] if self.pairing.passkey is not None else [])):
            await self.own(told, ANSWER_WITHIN)

    async def _compare(self, question: Question) -> bool:
        number = self.pairing.number
        if number is not None:
            return number == "accept" or number == question.digits
        text = f"This number is to be compared with {self._unit}{self._for}:\n{large(question.digits)}"
        await self.own(self._bench.operator.tell(text), ANSWER_WITHIN)
        return await self._ask(lambda: self._bench.operator.confirm(f"Does {self._unit} show this number?"))

    @property
    def _unit(self) -> str:
        return printable(self._bench.link.name) or "the unit"

    async def _ask(self, asking: Callable[[], Coroutine[Any, Any, T]]) -> T:
        return await self.own(self._in_time(asking), ANSWER_WITHIN + 1)

    async def _in_time(self, asking: Callable[[], Coroutine[Any, Any, T]]) -> T:
        try:
            with self._bench.outside():
                async with asyncio.timeout(ANSWER_WITHIN):
                    return await asking()
        except TimeoutError as exc:
            message = f"nobody answered within the {ANSWER_WITHIN:g} s that a pairing waits"
            raise OperatorError(message, advice="start the run again when somebody is at the terminal") from exc


class NumbersOfSteps(Numbers):
    """Those that steps in a step tell: `part` is carried out when the pairing asks for the first one. In it `${shown}` is
    what the bench shows, and what it saves is what the keys `late` refer to. InnerError for what did not pass."""

    def __init__(
        self, bench: CompositeBench, step: Composite, keys: Pairing, part: str, watch: Watch | None = None
    ) -> None:
        self._late = [name for name in step.late if is_late(getattr(step, name))]
        super().__init__(bench, msgspec.structs.replace(keys, **dict.fromkeys(self._late)), bench.own)
        self._inside, self._part, self._watch = bench.inside, part, watch
        self._has_steps = getattr(step, part) is not None
        self._came: Came | None = None
        self._began = bench.now()

    async def answer(self, question: Question) -> Any:
        if not self._has_steps or self._came is not None:
            return await super().answer(question)
        shown = question.digits if question.kind != "enter" else None
        values = {SHOWN: shown}
        came = self._came = await self._inside.run(self._part, values, self._watch, self._began, ANSWER_WITHIN)
        if came.error is not None:
            raise came.error
        late = {name: self._inside.value(name) for name in self._late}
        self.pairing = msgspec.structs.replace(self.pairing, **late)
        conceal(self._bench, self.pairing)
        # what the steps do with the number that is shown needs nobody to read it
        return None if question.kind == "show" else await super().answer(question)

    def check_carried_out(self, result: Paired) -> None:
        """Steps that were not needed have shown nothing. StepFailed."""
        if self._has_steps and self._came is None:
            how = result.method or result.failure
            message = f"the pairing ({how}) asked for no number, so the steps under {self._part} were not carried out"
            raise StepFailed(message, advice=f"take out {self._part}, or see why the pairing needed no number")


def conceal(bench: Bench, pairing: Pairing) -> None:
    """Keep the numbers of the plan out of all that the run leaves."""
    for secret in (pairing.passkey, pairing.number):
        if secret is not None and secret.isdecimal():
            bench.keep_secret(secret)


async def paired(bench: Bench, numbers: Numbers) -> Paired:
    """Pair with the unit on the link that there is. What ends the answering ends the pairing."""
    pairing = numbers.pairing
    conceal(bench, pairing)
    questions = Questions(pairing.passkey.number if pairing.passkey is not None else None)
    async with Tasks() as tasks:
        work = tasks.start(bench.link.security.pair(pairing.wish, questions))
        while (question := await numbers.own(questions.next(work), bench.time_left)) is not None:
            if question.kind != "enter":
                bench.keep_secret(question.digits)
            answer = await numbers.answer(question)
            if not question.answer.done():
                question.answer.set_result(answer)
        result = work.result()
    bench.device.was_refused = result.failure not in (NONE, LINK_LOST)
    return result
