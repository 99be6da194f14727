"""The operator at the terminal."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from typing import TYPE_CHECKING, Any

from benchrig.cli.out import echo
from benchrig.errors import OperatorError
from benchrig.text.wrapping import wrapped

if TYPE_CHECKING:
    from benchrig.terminal.asking import Question

# Seconds.
ANSWER_WITHIN = 600.0
_YES_OR_NO = {"y": True, "yes": True, "n": False, "no": False}


class AtTerminal:
    """Asks at the terminal. `quiet` is called before a question, to take a progress line off the screen. A caution or
    a value that nobody answers `within` so many seconds ends the run: it must give the station back. (A step that
    asks has a time of its own.) `typed` reads the line of a question, `show` shows one, where there is a prompt."""

    def __init__(
        self,
        quiet: Callable[[], None] = lambda: None,
        within: float = ANSWER_WITHIN,
        *,
        typed: Callable[[Question, str], Awaitable[str]] = lambda asked, asking: asked.line(asking),
        show: Callable[[str], None] = lambda text: echo(wrapped(text), err=True),
    ) -> None:
        self._quiet = quiet
        self._within = within
        self._typed, self._show = typed, show

    async def acknowledge(self, caution: str) -> str:
        return await self._in_time(self._acknowledge(caution), "nobody acknowledged the caution")

    async def value(self, name: str, problem_with: Callable[[str], str], *, prompt: str, secret: bool = False) -> str:
        """A given value, asked for with `prompt`. It is asked for until there is no problem with it: a barcode is easily read from the wrong
        label. What is typed for a secret one is not shown."""
        answer = self._accepted(self._question(hidden=secret), prompt, problem_with)
        return await self._in_time(answer, f"nobody gave a value for '{name}'")

    async def confirm(self, question: str) -> bool:
        asked = self._question()
        while (answer := (await self._line(asked, f"{question} [y/n]")).lower()) not in _YES_OR_NO:
            self._say("please answer y or n")
        return _YES_OR_NO[answer]

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        return await self._accepted(self._question(), question, problem_with)

    async def choose(self, question: str, options: list[str]) -> str:
        asked = self._question()
        self._say(question)
        for number, option in enumerate(options, 1):
            self._say(f"  {number}  {option}")
        while (answer := await self._line(asked, f"1 to {len(options)}, or the word:")) not in options:
            if answer.isdecimal() and 1 <= int(answer) <= len(options):
                return options[int(answer) - 1]
            self._say("please give one of the numbers or words")
        return answer

    async def tell(self, text: str) -> None:
        self._say(text)

    async def _acknowledge(self, caution: str) -> str:
        from benchrig.terminal.asking import acknowledged

        asked = self._question()
        self._say(f"\nCAUTION  {caution}\n")
        if await acknowledged(lambda asking: self._line(asked, asking), self._say):
            return "at the terminal"
        raise OperatorError("the caution was not acknowledged")

    async def _accepted(self, asked: Question, question: str, problem_with: Callable[[str], str]) -> str:
        while problem := problem_with(answer := await self._entered(asked, question)):
            self._say(f"  {problem}")
        return answer

    async def _entered(self, asked: Question, question: str) -> str:
        asking = question if question.endswith((":", "?", ".", "!")) else f"{question}:"
        while not (answer := await self._line(asked, asking)):
            self._say("please type an answer")
        return answer

    async def _in_time(self, answer: Coroutine[Any, Any, str], failed: str) -> str:
        try:
            async with asyncio.timeout(self._within):
                return await answer
        except TimeoutError as exc:
            raise OperatorError(
                f"{failed} within {self._within:g} s", advice="start the run again when somebody is at the terminal"
            ) from exc

    def _say(self, text: str) -> None:
        self._quiet()
        self._show(text)

    def _question(self, *, hidden: bool = False) -> Question:
        from benchrig.terminal.asking import Question

        self._quiet()
        return Question(hidden=hidden)

    async def _line(self, asked: Question, asking: str) -> str:
        """What was typed, without blanks around it. The loop stays free: a signal or a time-out ends the waiting."""
        self._quiet()
        try:
            return (await self._typed(asked, asking)).strip()
        except EOFError as error:
            raise OperatorError("no answer (end of input)") from error


class OnceAtTerminal(AtTerminal):
    """Of several runs one after the other: a caution is asked for once, and shown again before each of the others."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._acknowledged: dict[str, str] = {}

    async def acknowledge(self, caution: str) -> str:
        if caution in self._acknowledged:
            self._say(f"CAUTION  {caution}")
        else:
            self._acknowledged[caution] = await super().acknowledge(caution)
        return self._acknowledged[caution]
