"""What somebody at the line is asked, one question at a time."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Iterator, Sequence
from dataclasses import dataclass, field

from benchrig.errors import OperatorError, StationError
from benchrig.line.view import Asked
from benchrig.loop import outside

Problem = Callable[[str], str]
YES, NO = "yes", "no"


@dataclass
class Question:
    """One that is open. An answer is taken where `problem_with` has nothing to say of it. `until` is a time of the loop.
    It is about `unit`. With `labelled` the label that was scanned last has to be that of the unit: `scan` while it is not."""

    text: str
    slot: str
    options: tuple[str, ...]
    problem_with: Problem
    until: float
    answer: asyncio.Future[str] = field(repr=False)
    problem: str = ""
    number: int = 0
    unit: str = ""
    labelled: bool = False
    scan: bool = False
    secret: bool = False

    def shown(self) -> Asked:
        left = max(0.0, self.until - self.answer.get_loop().time())
        return Asked(self.text, self.slot, self.options, left, self.problem, self.unit, self.scan, self.number)


Keep = Callable[[Question, str], None]


class Questions:
    """Those of a line, in the order in which they were asked. `changed` is called when another one is to be shown, `keep` with
    each answer before it counts."""

    def __init__(self, changed: Callable[[], None], keep: Keep = lambda question, text: None) -> None:
        self._changed, self._keep = changed, keep
        self._turn = asyncio.Lock()
        self._asking: list[str] = []  # slots
        self.open: Question | None = None
        self._nobody = False
        self._held = ""
        self._number = 0

    def nobody(self) -> None:
        """Nobody is there to answer any more."""
        self._nobody = True
        if self.open is not None and not self.open.answer.done():
            self.open.answer.set_exception(_unanswered(self.open.text))

    async def ask(
        self,
        text: str,
        within: float,
        slot: str = "",
        options: Sequence[str] = (),
        problem_with: Problem | None = None,
        known: Callable[[], str] = lambda: "",
        unit: str = "",
        *,
        scan: bool = False,
        secret: bool = False,
    ) -> str:
        """The answer. Its time begins when it is shown, which it is not where another one before it made it `known`.
        OperatorError: nobody answered within so many seconds."""
        with outside(), self._waits(slot):
            async with self._own_turn(slot):
                if answer := known():
                    return answer
                if self._nobody:
                    raise _unanswered(text)
                loop = asyncio.get_running_loop()
                refused = problem_with or _one_of(options)
                self._number += 1
                self.open = Question(
                    text, slot, tuple(options), refused, loop.time() + within, loop.create_future(),
                    number=self._number, unit=unit, labelled=scan, scan=scan, secret=secret,
                )  # fmt: skip
                self._changed()
                try:
                    return await asyncio.wait_for(self.open.answer, within)
                except TimeoutError as error:
                    raise OperatorError(f"nobody answered '{text}' within {within:.3g} s") from error
                finally:
                    self.open = None
                    self._changed()

    @contextlib.contextmanager
    def _waits(self, slot: str) -> Iterator[None]:
        self._asking.append(slot)
        try:
            yield
        finally:
            self._asking.remove(slot)

    def is_asked_in(self, slot: str) -> bool:
        """Whether a question of this slot is open, or waits."""
        return slot in self._asking

    def answer(self, text: str) -> None:
        """What was typed or scanned, for the question that is open."""
        asked = self.open
        if asked is None or asked.answer.done():
            return
        text = _meant(text.strip(), asked.options)
        if asked.scan:
            asked.problem = f"scan the label of {asked.unit} first, the unit that you look at"
        else:
            asked.problem = asked.problem_with(text) if text else "expected an answer, found nothing"
        if not asked.problem:
            self._take(asked, text)
        self._changed()

    def _take(self, asked: Question, text: str) -> None:
        """An answer about a unit that cannot be kept is none, and the unit is not judged; what the line does on one is on
        record by itself."""
        try:
            self._keep(asked, text)
        except StationError as error:
            if asked.slot:
                asked.answer.set_exception(StationError(error.message, advice=error.advice))
            else:
                asked.answer.set_result(text)
            raise
        asked.answer.set_result(text)

    @contextlib.contextmanager
    def turn(self, slot: str) -> Iterator[Callable[[bool], Awaitable[None]]]:
        """For a run in this slot: what it calls before each step, with whether that asks. It waits for the questions of the
        others there, which is no time of the step, and has its turn until the next step."""

        async def take(asks: bool) -> None:
            self._give_back(slot)
            if asks:
                with self._waits(slot):
                    await self._turn.acquire()
                self._held = slot

        try:
            yield take
        finally:
            self._give_back(slot)

    def _give_back(self, slot: str) -> None:
        if self._held == slot:
            self._held = ""
            self._turn.release()

    def _own_turn(self, slot: str) -> contextlib.AbstractAsyncContextManager[object]:
        return contextlib.nullcontext() if slot and self._held == slot else self._turn

    def say(self, problem: str) -> None:
        """What was wrong with what was read, of the question that is open; '' when that is over."""
        if self.open is not None and self.open.problem != problem:
            self.open.problem = problem
            self._changed()

    def looks_at(self, *, right: bool) -> None:
        """A label was scanned: whether that of the unit, which the next answer is about then."""
        if self.open is not None:
            self.open.scan = not right
            self._changed()

    def takes(self, text: str) -> bool:
        """Whether the text answers the open question surely: it is one of its options."""
        asked = self.open
        return asked is not None and bool(asked.options) and _meant(text.strip(), asked.options) in asked.options


def _unanswered(text: str) -> OperatorError:
    return OperatorError(f"nobody answered '{text}': the input has ended")


def _meant(text: str, options: Sequence[str]) -> str:
    """An option may be typed in any case, and by its first letter where it is yes or no. A number is that of a slot."""
    if text in options:
        return text
    alike = [each for each in options if each.casefold() == text.casefold()]
    if not alike and tuple(options) == (YES, NO):
        alike = [each for each in options if each[0] == text.casefold()]
    return alike[0] if len(alike) == 1 else text


def _one_of(options: Sequence[str]) -> Problem:
    def problem(text: str) -> str:
        return "" if not options or text in options else f"expected {' or '.join(options)}, found '{text}'"

    return problem
