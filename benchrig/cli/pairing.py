"""The person at the terminal while a device is paired with: types a passkey, reads one, compares two numbers."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING

from benchrig import terminal
from benchrig.cli.out import echo
from benchrig.errors import OperatorError
from benchrig.text.wrapping import wrapped

if TYPE_CHECKING:
    from benchrig.radio.security import Party

_YES_OR_NO = {"y": True, "yes": True, "n": False, "no": False}


class PartyAtTerminal:
    """`line` is what is typed for a question, `say` shows a line, `quiet` takes the line off the screen that says what is
    being waited for. Numbers are shown to the person, and kept nowhere."""

    def __init__(
        self, line: Callable[[str], Awaitable[str]], say: Callable[[str], None], quiet: Callable[[], None]
    ) -> None:
        self._line = line
        self._say_aloud = say
        self._quiet = quiet

    def _say(self, text: str) -> None:
        self._quiet()
        self._say_aloud(text)

    async def enter(self) -> int | None:
        while not re.fullmatch("[0-9]{6}", typed := await self._typed("The passkey that the device shows:")):
            self._say("a passkey has six digits")
        return int(typed)

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        self._say(f"Type this passkey on the device: {passkey:06}")

    async def compare(self, number: int) -> bool:
        asking = f"Does the device show {number:06}? [y/n]"
        while (answer := (await self._typed(asking)).lower()) not in _YES_OR_NO:
            self._say("please answer y or n")
        return _YES_OR_NO[answer]

    async def _typed(self, asking: str) -> str:
        self._quiet()
        try:
            return re.sub(r"\s", "", await self._line(asking))
        except EOFError as error:
            raise OperatorError("no answer (end of input)") from error


def party_here(quiet: Callable[[], None]) -> Party:
    """The person at this terminal, or nobody."""
    from benchrig.desk.securing import Unattended

    return PartyAtTerminal(_line, _say, quiet) if terminal.attended() else Unattended()


async def _line(asking: str) -> str:
    from benchrig.terminal.asking import Question

    return await Question().line(asking)


def _say(text: str) -> None:
    echo(wrapped(text), err=True)
