"""What is written to a terminal, from a thread: one that takes nothing for a while (a slow or broken connection) would
hold up the tests of the units, and a good one would fail for it."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable, Iterator
from typing import TextIO, cast

from prompt_toolkit.output import Output
from prompt_toolkit.output.flush_stdout import flush_stdout
from prompt_toolkit.output.vt100 import Vt100_Output

# How long the end of the screen waits for a terminal that takes nothing.
_END_WITHIN = 1.0


class Writer:
    """Stands for the standard output. `gone` is called in the thread, once, when the terminal does not exist any more."""

    def __init__(self, terminal: TextIO, gone: Callable[[], None]) -> None:
        self.encoding = terminal.encoding
        self._terminal, self._gone = terminal, gone
        self._texts: queue.Queue[str | None] = queue.Queue()
        self._thread = threading.Thread(target=self._run, name="writes the screen", daemon=True)
        self._thread.start()

    @property
    def is_busy(self) -> bool:
        """Whether something that was drawn is still on its way."""
        return self._texts.unfinished_tasks > 0

    def write(self, text: str) -> None:
        self._texts.put(text)

    def flush(self) -> None:
        """What is written is on its way already."""

    def close(self) -> None:
        self._texts.put(None)
        self._thread.join(_END_WITHIN)

    def _run(self) -> None:
        lost = False
        while (text := self._texts.get()) is not None:
            try:
                if not lost:
                    flush_stdout(self._terminal, text)
            except (OSError, ValueError):  # ValueError: the file is closed
                lost = True
                self._gone()
            self._texts.task_done()
        self._texts.task_done()


class _Output(Vt100_Output):
    """A terminal then sends what is pasted as if it was typed."""

    def enable_bracketed_paste(self) -> None:
        """Marks around a paste are not wanted: one that lost its end would take all that follows."""


@contextlib.contextmanager
def written_apart(output: Output, gone: Callable[[], None]) -> Iterator[tuple[Output, Callable[[], bool]]]:
    """The output through a thread, and whether something is still on its way. One that is not a terminal of that kind
    stays as it is."""
    if not (isinstance(output, Vt100_Output) and output.stdout.isatty()):
        yield output, lambda: False
        return
    writer = Writer(output.stdout, gone)
    try:
        apart = _Output(cast(TextIO, writer), output.get_size, term=output.term, enable_cpr=False)
        yield apart, lambda: writer.is_busy
    finally:
        writer.close()
