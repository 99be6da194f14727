"""The session's prompt on a terminal: lines are edited, completed and kept; what comes meanwhile appears above them."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Iterator
from enum import Enum, auto
from typing import TYPE_CHECKING

from prompt_toolkit import PromptSession
from prompt_toolkit.application.current import get_app_session
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.formatted_text import FormattedText
from prompt_toolkit.input.typeahead import store_typeahead
from prompt_toolkit.keys import Keys
from prompt_toolkit.patch_stdout import StdoutProxy

from benchrig.cli.operator import AtTerminal
from benchrig.cli.out import echo
from benchrig.cli.pairing import PartyAtTerminal
from benchrig.desk.prompt.completing import proposals
from benchrig.desk.prompt.verbs import do
from benchrig.errors import BenchrigError, OperatorError
from benchrig.tasks import Tasks
from benchrig.terminal.asking import Question, acknowledged
from benchrig.terminal.history import LineHistory, history_file
from benchrig.text.escape import plain
from benchrig.text.wrapping import wrapped

if TYPE_CHECKING:
    from prompt_toolkit.input import Input

    from benchrig.desk.prompt.session import Session

LONGEST_NAME = 24
# Between two times, in seconds, that what came meanwhile is shown above the prompt.
SHOW_EVERY = 0.05


class _Outcome(Enum):
    DONE = auto()
    FAILED = auto()
    QUIT = auto()


class Prompt:
    """Reads lines and does what they say. The prompt says which device it is, and whether it is connected, as long as
    it stands there. `session` is made with what asks for an acknowledgement, and what says that its state has changed;
    `failed` is told of a line that fails, and why."""

    def __init__(
        self,
        session: Callable[[Callable[[str], Awaitable[None]], Callable[[], None]], Session],
        failed: Callable[[str, BenchrigError], None],
    ) -> None:
        self._failed = failed
        self._tasks = Tasks()
        self._verb: asyncio.Future[bool] | None = None
        self._was_busy = False
        self._lines: PromptSession[str] = PromptSession(
            message=self._message,
            completer=_Completer(self),
            complete_while_typing=False,
            history=LineHistory(history_file(os.environ)),
            enable_suspend=True,
        )
        self.session = session(self._acknowledge, self._lines.app.invalidate)
        desk = self.session.desk
        desk.party = PartyAtTerminal(AtTerminal(lambda: desk.doing(""), typed=self._typed, show=_say))

    async def run(self) -> None:
        """Connect, then take lines until one ends the session or the input does. Ctrl-C stops the verb that runs."""
        line: str | None = "connect"
        try:
            with self._keys_waiting():
                while line is not None and await self._do_all(line.splitlines()):
                    line = await self._line()
        finally:
            await self.session.close()

    async def _do_all(self, lines: list[str]) -> bool:
        """Do what the lines of one input say (several were pasted together), up to the first that fails; False when
        one ends the session."""
        for line in lines:
            outcome = await self._do(line)
            if outcome is not _Outcome.DONE:
                return outcome is _Outcome.FAILED
        return True

    async def _do(self, line: str) -> _Outcome:
        """Do what a line says, until Ctrl-C at most."""
        self._verb, self._was_busy = self._tasks.start(do(self.session, line)), False
        try:
            return _Outcome.DONE if await self._verb else _Outcome.QUIT
        except BenchrigError as error:
            self._failed(line, error)
        except asyncio.CancelledError:
            if _is_ending():
                raise
            _say("stopped")
            if self._was_busy:
                await self.session.connection.give_up()
        finally:
            self._verb = None
        return _Outcome.FAILED

    def _stop(self) -> None:
        """The verb that runs; at the prompt there is nothing to stop."""
        if self._verb is not None:
            self._was_busy = self._was_busy or self.session.connection.is_busy
            self._verb.cancel()

    @contextlib.contextmanager
    def _keys_waiting(self) -> Iterator[None]:
        """While no prompt stands, keys wait for the next one as they are, and do not show between the results."""
        source, loop = get_app_session().input, asyncio.get_running_loop()
        with contextlib.suppress(NotImplementedError):  # Windows: there a signal from elsewhere ends the session
            loop.add_signal_handler(signal.SIGINT, self._stop)
        with source.raw_mode(), source.attach(lambda: self._pressed(source)):
            yield

    def _pressed(self, source: Input) -> None:
        for each in source.read_keys():
            if each.key == Keys.ControlC:
                self._stop()
            elif each.key == Keys.ControlZ:
                suspend(source)
            else:
                store_typeahead(source, [each])
        if source.closed:
            asyncio.get_running_loop().remove_reader(source.fileno())

    async def _line(self) -> str | None:
        """None at the end of the input. Ctrl-C clears the line."""
        while True:
            try:
                async with _above_the_prompt():
                    return await self._lines.prompt_async(set_exception_handler=False, handle_sigint=False)
            except KeyboardInterrupt:
                continue
            except EOFError:
                return None

    async def _acknowledge(self, caution: str) -> None:
        """OperatorError unless the person does."""
        _say(f"\nCAUTION  {caution}\n")
        question = Question()
        with contextlib.suppress(KeyboardInterrupt, EOFError):
            if await acknowledged(lambda asking: self._answer(question, asking), _say):
                return
        raise OperatorError("the write was not acknowledged; nothing was sent")

    async def _typed(self, question: Question, asking: str) -> str:
        """A line that answers a question of the pairing under way."""
        try:
            return await self._answer(question, asking)
        except KeyboardInterrupt:
            raise OperatorError("the pairing was stopped") from None

    async def _answer(self, question: Question, asking: str) -> str:
        async with _above_the_prompt():
            return await question.typed(asking)

    def _message(self) -> FormattedText:
        unit, state = self.session.connection.unit, self.session.connection.state
        if unit is None or not state:
            return FormattedText([("", "not connected> ")])
        name = plain(unit.name or unit.address, LONGEST_NAME)
        return FormattedText([("", f"{name} {state}> ")])


def _say(text: str) -> None:
    echo(wrapped(text))


def _is_ending() -> bool:
    """Whether the session itself is cancelled, not only the verb."""
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0


def suspend(source: Input) -> None:
    """As Ctrl-Z does where a terminal makes it a signal; the shell gets the terminal as it knows it."""
    if hasattr(signal, "SIGTSTP"):
        with source.cooked_mode():
            os.kill(0, signal.SIGTSTP)


@contextlib.asynccontextmanager
async def _above_the_prompt() -> AsyncIterator[None]:
    """What is printed meanwhile appears above the line that is being typed."""
    proxy, streams = StdoutProxy(sleep_between_writes=SHOW_EVERY), (sys.stdout, sys.stderr)
    sys.stdout = sys.stderr = proxy
    try:
        yield
    finally:
        sys.stdout, sys.stderr = streams
        await asyncio.to_thread(proxy.close)


class _Completer(Completer):
    def __init__(self, prompt: Prompt) -> None:
        self._prompt = prompt

    def get_completions(self, document: Document, complete_event: CompleteEvent) -> Iterable[Completion]:
        length, words = proposals(document.text_before_cursor, self._prompt.session)
        for word in words:
            yield Completion(word, start_position=-length)
