"""The prompt on a terminal: lines are edited, completed and kept; what comes meanwhile appears above them."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import Enum, auto
from typing import TYPE_CHECKING

from prompt_toolkit import PromptSession
from prompt_toolkit.completion import CompleteEvent, Completer, Completion
from prompt_toolkit.document import Document
from prompt_toolkit.formatted_text import FormattedText
from prompt_toolkit.input.typeahead import clear_typeahead
from prompt_toolkit.patch_stdout import StdoutProxy

from benchrig.desk.prompt.completing import proposals
from benchrig.desk.prompt.history import LineHistory, history_file
from benchrig.desk.prompt.verbs import do
from benchrig.errors import BenchrigError, OperatorError
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.desk.prompt.session import Session

LONGEST_NAME = 24
# Between two times, in seconds, that what came meanwhile is shown above the prompt.
SHOW_EVERY = 0.05
_QUESTION = "Type 'yes' to acknowledge and go on, 'no' to stop: "
_ONLY_THE_WORD = "only the word 'yes', typed in full, goes on; 'no' stops"


@dataclass(frozen=True)
class Voice:
    """What the terminal shows: sentences, and failures with the line they came of. `forget` drops what was typed
    before a question stood on the screen; `fitted` breaks a text where the terminal ends."""

    say: Callable[[str], None]
    failed: Callable[[str, BenchrigError], None]
    forget: Callable[[], None]
    fitted: Callable[[str], str]


async def run_typed(session: Session, voice: Voice) -> None:
    """Connect, then prompt for lines and do what they say, until one ends the session or the input does. Ctrl-C stops
    the verb that runs."""
    prompt = _Prompt(session, voice)
    session.ask, session.connection.changed = prompt.acknowledge, prompt.redraw
    line: str | None = "connect"
    try:
        with _keys_waiting():
            while line is not None and await _do_all(session, line.splitlines(), voice):
                line = await prompt.line()
    finally:
        await session.close()


async def _do_all(session: Session, lines: list[str], voice: Voice) -> bool:
    """Do what the lines of one input say (several were pasted together), up to the first that fails; False when one
    ends the session."""
    for line in lines:
        outcome = await _stoppable(session, line, voice)
        if outcome is not _Outcome.DONE:
            return outcome is _Outcome.FAILED
    return True


class _Outcome(Enum):
    DONE = auto()
    FAILED = auto()
    QUIT = auto()


async def _stoppable(session: Session, line: str, voice: Voice) -> _Outcome:
    """Do what a line says, until Ctrl-C at most."""
    verb = asyncio.ensure_future(do(session, line))
    busy = False

    def stop() -> None:
        nonlocal busy
        busy = busy or session.connection.is_busy
        verb.cancel()

    try:
        with _on_interrupt(stop):
            return _Outcome.DONE if await verb else _Outcome.QUIT
    except BenchrigError as error:
        voice.failed(line, error)
    except asyncio.CancelledError:
        if _is_ending():
            raise
        voice.say("stopped")
        if busy:
            await session.connection.give_up()
    return _Outcome.FAILED


def _is_ending() -> bool:
    """Whether the session itself is cancelled, not only the verb."""
    task = asyncio.current_task()
    return task is not None and task.cancelling() > 0


@contextlib.contextmanager
def _on_interrupt(stop: Callable[[], None]) -> Iterator[None]:
    loop = asyncio.get_running_loop()
    try:
        loop.add_signal_handler(signal.SIGINT, stop)
    except NotImplementedError:  # Windows: there Ctrl-C ends the session
        yield
        return
    try:
        yield
    finally:
        # at the prompt Ctrl-C is a key; a signal from elsewhere has nothing to stop there
        loop.add_signal_handler(signal.SIGINT, lambda: None)


@contextlib.contextmanager
def _keys_waiting() -> Iterator[None]:
    """While no prompt stands, keys wait for the next one as they are, and do not show between the results. Ctrl-C is a
    signal all the same."""
    try:
        import termios
    except ImportError:  # Windows
        yield
        return
    terminal = sys.stdin.fileno()
    before = termios.tcgetattr(terminal)
    mode = termios.tcgetattr(terminal)
    mode[3] &= ~(termios.ICANON | termios.ECHO)
    termios.tcsetattr(terminal, termios.TCSANOW, mode)
    try:
        yield
    finally:
        with contextlib.suppress(termios.error):  # a terminal that is gone
            termios.tcsetattr(terminal, termios.TCSANOW, before)


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


class _Prompt:
    """Reads lines. The prompt says which device it is, and whether it is connected, as long as it stands there."""

    def __init__(self, session: Session, voice: Voice) -> None:
        self._session, self._voice = session, voice
        self._reader: PromptSession[str] = PromptSession(
            message=self._message,
            completer=_Completer(session),
            complete_while_typing=False,
            history=LineHistory(history_file(os.environ)),
        )

    def redraw(self) -> None:
        self._reader.app.invalidate()

    async def line(self) -> str | None:
        """None at the end of the input. Ctrl-C clears the line."""
        while True:
            try:
                async with _above_the_prompt():
                    return await self._reader.prompt_async(set_exception_handler=False, handle_sigint=False)
            except KeyboardInterrupt:
                continue
            except EOFError:
                return None

    async def acknowledge(self, caution: str) -> None:
        """A typed word: a key that is pressed by habit acknowledges nothing. OperatorError unless it is 'yes'."""
        self._voice.say(f"\nCAUTION  {caution}\n")
        asking = self._voice.fitted(_QUESTION.rstrip()) + " "
        self._voice.forget()
        question: PromptSession[str] = PromptSession()
        clear_typeahead(question.app.input)
        while True:
            try:
                async with _above_the_prompt():
                    answer = await question.prompt_async(asking, set_exception_handler=False, handle_sigint=False)
            except (KeyboardInterrupt, EOFError):
                answer = "no"
            if answer.strip().lower() == "yes":
                return
            if answer.strip().lower() in ("n", "no"):
                raise OperatorError("the write was not acknowledged; nothing was sent")
            self._voice.say(_ONLY_THE_WORD)

    def _message(self) -> FormattedText:
        unit, state = self._session.connection.unit, self._session.connection.state
        if unit is None or not state:
            return FormattedText([("", "not connected> ")])
        name = plain(unit.name or unit.address, LONGEST_NAME)
        return FormattedText([("", f"{name} {state}> ")])


class _Completer(Completer):
    def __init__(self, session: Session) -> None:
        self._session = session

    def get_completions(self, document: Document, complete_event: CompleteEvent) -> Iterable[Completion]:
        length, words = proposals(document.text_before_cursor, self._session)
        for word in words:
            yield Completion(word, start_position=-length)
