"""Lines that a person at the terminal types to answer. Keys, modes and hiding are prompt_toolkit's, on Windows too."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING

from prompt_toolkit import PromptSession
from prompt_toolkit.application.current import get_app_session
from prompt_toolkit.history import DummyHistory
from prompt_toolkit.input.typeahead import clear_typeahead
from prompt_toolkit.output.vt100 import Vt100_Output
from prompt_toolkit.utils import is_dumb_terminal

from benchrig.errors import UsageError
from benchrig.loop import outside
from benchrig.text.wrapping import wrapped

if TYPE_CHECKING:
    from prompt_toolkit.input import Input

_ACKNOWLEDGE = "Type 'yes' to acknowledge and continue, 'no' to stop: "
_ONLY_THE_WORD = "type 'yes' in full to continue, 'no' to stop"
# For a signal to end what waits.
_SIGNAL_WITHIN = 0.1


class Question:
    """One question; its line may be asked for again. What was typed, or scanned, before it stood on the screen is
    dropped: it answers something else."""

    def __init__(self, *, hidden: bool = False) -> None:
        if hidden and is_dumb_terminal():
            raise UsageError("this terminal cannot hide what is typed", advice="bring it with --set NAME=@FILE")
        terminal = get_app_session()
        if isinstance(terminal.output, Vt100_Output):
            terminal.output.enable_cpr = False  # not every terminal answers when it is asked where its cursor is
        self._prompt: PromptSession[str] = PromptSession(
            is_password=hidden, history=DummyHistory(), enable_suspend=True
        )
        forget_typed_ahead(terminal.input)

    async def typed(self, asking: str) -> str:
        """The line. KeyboardInterrupt for Ctrl-C, EOFError for Ctrl-D and for a terminal that is gone."""
        message = wrapped(asking.rstrip()) + " "
        with outside():
            return await self._prompt.prompt_async(message, set_exception_handler=False, handle_sigint=False)

    async def line(self, asking: str) -> str:
        """The same, where Ctrl-C is the signal that it is without a prompt."""
        while True:
            try:
                return await self.typed(asking)
            except KeyboardInterrupt:
                signal.raise_signal(signal.SIGINT)
                await asyncio.sleep(_SIGNAL_WITHIN)


async def acknowledged(line: Callable[[str], Awaitable[str]], say: Callable[[str], None]) -> bool:
    """Whether the word is typed: a key that is pressed, or scanned, by habit acknowledges nothing."""
    while (answer := (await line(_ACKNOWLEDGE)).strip().lower()) not in ("yes", "no", "n"):
        say(_ONLY_THE_WORD)
    return answer == "yes"


def forget_typed_ahead(source: Input) -> None:
    """Drop what was typed, and not read, so far."""
    with source.raw_mode():  # a line that was begun can be read then too
        while source.read_keys() or source.flush_keys():
            pass
    clear_typeahead(source)
