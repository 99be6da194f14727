"""The operator at the terminal, and the one who is not there."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections.abc import Callable, Coroutine, Iterator
from typing import Any

from benchrig.cli.common import echo
from benchrig.cli.wrapping import wrapped
from benchrig.errors import OperatorError, UsageError
from benchrig.threads import once_readable

ONLY_THE_WORD = "only the word 'yes', typed in full, goes on; 'no' stops"
# Seconds.
ANSWER_WITHIN = 600.0


class Unattended:
    """Nobody can answer: every question ends the step with cause operator."""

    async def acknowledge(self, caution: str) -> str:
        raise OperatorError(
            f"nobody was there to acknowledge the caution: {caution}",
            advice="run at a terminal, or add --acknowledge after you have followed the caution",
        )

    async def confirm(self, question: str) -> bool:
        raise self._nobody(question)

    async def enter(self, question: str) -> str:
        raise self._nobody(question)

    async def choose(self, question: str, options: list[str]) -> str:
        raise self._nobody(question)

    def _nobody(self, question: str) -> OperatorError:
        return OperatorError(
            f"nobody was there to answer '{question}'",
            advice="run it at a terminal, or give the step 'from:' with a given value, and that with --set",
        )


class AtTerminal:
    """Asks at the terminal. `quiet` is called before a question, to take a progress line off the screen. A caution or
    a value that nobody answers `within` so many seconds ends the run: it must give the station back. (A step that
    asks has a time of its own.)"""

    def __init__(self, quiet: Callable[[], None], within: float = ANSWER_WITHIN) -> None:
        self._quiet = quiet
        self._within = within

    async def acknowledge(self, caution: str) -> str:
        return await self._in_time(self._acknowledge(caution), "nobody acknowledged the caution")

    async def value(self, name: str, problem_with: Callable[[str], str], *, secret: bool = False) -> str:
        """A given value. It is asked for until there is no problem with it: a barcode is easily read from the wrong
        label. What is typed for a secret one is not shown."""
        with unseen() if secret else contextlib.nullcontext():
            return await self._in_time(self._value(name, problem_with), f"nobody gave a value for '{name}'")

    async def _in_time(self, answer: Coroutine[Any, Any, str], failed: str) -> str:
        try:
            async with asyncio.timeout(self._within):
                return await answer
        except TimeoutError as exc:
            raise OperatorError(
                f"{failed} within {self._within:g} s", advice="start the run again when somebody is at the terminal"
            ) from exc

    async def _value(self, name: str, problem_with: Callable[[str], str]) -> str:
        while problem := problem_with(answer := await self.enter(name)):
            self._say(f"  {problem}")
        return answer

    async def _acknowledge(self, caution: str) -> str:
        forget_typed_ahead()
        self._say(f"\nCAUTION  {caution}\n")
        while True:
            # a typed word: a key that is pressed, or scanned, by habit acknowledges nothing
            answer = (await self._line("Type 'yes' to acknowledge and go on, 'no' to stop: ")).strip().lower()
            if answer == "yes":
                return "at the terminal"
            if answer in ("n", "no"):
                raise OperatorError("the caution was not acknowledged")
            self._say(ONLY_THE_WORD)

    async def confirm(self, question: str) -> bool:
        forget_typed_ahead()
        while True:
            answer = (await self._line(f"{question} [y/n] ")).strip().lower()
            if answer in ("y", "yes", "n", "no"):
                return answer[0] == "y"
            self._say("please answer y or n")

    async def enter(self, question: str) -> str:
        forget_typed_ahead()
        while True:
            if answer := (await self._line(f"{question}: ")).strip():
                return answer
            self._say("please type an answer")

    async def choose(self, question: str, options: list[str]) -> str:
        forget_typed_ahead()
        self._say(question)
        for number, option in enumerate(options, 1):
            self._say(f"  {number}  {option}")
        while True:
            answer = (await self._line(f"1 to {len(options)}, or the word: ")).strip()
            if answer in options:
                return answer
            if answer.isdecimal() and 1 <= int(answer) <= len(options):
                return options[int(answer) - 1]
            self._say("please give one of the numbers or words")

    def _say(self, text: str) -> None:
        self._quiet()
        echo(wrapped(text), err=True)

    async def _line(self, prompt: str) -> str:
        """One line of input. The loop stays free, so a signal or a time-out ends the waiting."""
        self._quiet()
        echo(wrapped(prompt.rstrip()) + " ", nl=False, err=True)
        try:
            line: str = await once_readable(sys.stdin.fileno(), sys.stdin.readline)
        except asyncio.CancelledError:
            echo(err=True)  # what follows must not stand behind the prompt
            raise
        if not line:
            raise OperatorError("the terminal was closed")
        return line.rstrip("\n")


@contextlib.contextmanager
def unseen() -> Iterator[None]:
    """The terminal does not show what is typed. UsageError where it cannot be told so."""
    try:
        import termios

        descriptor = sys.stdin.fileno()
        before = termios.tcgetattr(descriptor)
    except (ImportError, OSError) as error:
        raise UsageError("this terminal cannot hide what is typed", advice="bring it with --set NAME=@FILE") from error
    hidden = [*before]
    hidden[3] &= ~termios.ECHO
    termios.tcsetattr(descriptor, termios.TCSADRAIN, hidden)
    try:
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
        echo(err=True)  # the end of the line was not shown either


def forget_typed_ahead() -> None:
    """Drop what was typed, or scanned, before a question stood on the screen: it answers something else."""
    try:
        import termios
    except ImportError:  # Windows
        return
    with contextlib.suppress(termios.error):
        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)
