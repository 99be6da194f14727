"""What somebody at the line is asked, one question at a time."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable, Iterator, Sequence
from dataclasses import dataclass, field

from benchrig.errors import OperatorError
from benchrig.line.view import Asked
from benchrig.loop import outside

Problem = Callable[[str], str]
YES, NO = "yes", "no"
# Nobody reads a question and begins to answer it within so many seconds: what comes sooner was meant for the one before.
_READ_WITHIN = 0.5
_TOO_SOON = "that was typed before this question was there: answer it now"


@dataclass
class Question:
    """One that is open. An answer is taken where `problem_with` has nothing to say of it. `until` is a time of the loop."""

    text: str
    slot: str
    options: tuple[str, ...]
    problem_with: Problem
    until: float
    answer: asyncio.Future[str] = field(repr=False)
    since: float = 0.0  # of time.monotonic(): before that nothing is its answer
    problem: str = ""
    by: str = ""

    def shown(self) -> Asked:
        left = max(0.0, self.until - self.answer.get_loop().time())
        return Asked(self.text, self.slot, self.options, left, self.problem)


class Questions:
    """Those of a line, in the order in which they were asked. `changed` is called when another one is to be shown."""

    def __init__(self, changed: Callable[[], None]) -> None:
        self._changed = changed
        self._turn = asyncio.Lock()
        self.open: Question | None = None
        self._nobody = False
        self._closed = float("-inf")
        self._held = ""

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
    ) -> str:
        """The answer. Its time begins when it is shown, which it is not where another one before it made it `known`.
        OperatorError: nobody answered within so many seconds."""
        with outside():
            async with self._own_turn(slot):
                if answer := known():
                    return answer
                if self._nobody:
                    raise _unanswered(text)
                loop = asyncio.get_running_loop()
                refused = problem_with or _one_of(options)
                until, answered = loop.time() + within, loop.create_future()
                self.open = Question(text, slot, tuple(options), refused, until, answered, self._answered_from())
                self._changed()
                try:
                    return await asyncio.wait_for(self.open.answer, within)
                except TimeoutError as error:
                    raise OperatorError(f"nobody answered '{text}' within {within:.3g} s") from error
                finally:
                    self.open, self._closed = None, time.monotonic()
                    self._changed()

    def _answered_from(self) -> float:
        now = time.monotonic()
        return now + _READ_WITHIN if now - self._closed < _READ_WITHIN else now

    def answer(self, text: str, begun: float | None = None) -> None:
        """What was typed or scanned, for the question that is open; `begun` is when, by time.monotonic(), None for a program,
        which answers what it has read."""
        asked = self.open
        if asked is None or asked.answer.done():
            return
        if begun is not None and begun < asked.since:
            asked.problem = _TOO_SOON
            self._changed()
            return
        text = _meant(text.strip(), asked.options)
        asked.problem = asked.problem_with(text) if text else "expected an answer, found nothing"
        if not asked.problem:
            asked.answer.set_result(text)
        self._changed()

    @contextlib.contextmanager
    def turn(self, slot: str) -> Iterator[Callable[[bool], Awaitable[None]]]:
        """For a run in this slot: what it calls before each step, with whether that asks. It waits for the questions of the
        others there, which is no time of the step, and has its turn until the next step."""

        async def take(asks: bool) -> None:
            self._give_back(slot)
            if asks:
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
