"""The line that says what a command waits for, or where a run is: on a terminal only, and gone when it is over."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from benchrig.terminal import console
from benchrig.text.escape import ascii_text, plain

if TYPE_CHECKING:
    from rich.status import Status
    from rich.text import Text


@contextlib.contextmanager
def status_line() -> Iterator[Callable[[str], None]]:
    """What takes the words of what is being waited for, '' for nothing. In a pipe, in CI and on a terminal that cannot
    erase a line they are not shown."""
    line = StatusLine() if _is_wanted() else None
    try:
        yield line.show if line is not None else lambda _: None
    finally:
        if line is not None:
            line.hide()


def _is_wanted() -> bool:
    # both: what is printed must find the line erased
    is_watched = sys.stdout.isatty() and sys.stderr.isatty()
    return is_watched and "CI" not in os.environ and os.environ.get("TERM") != "dumb"


class StatusLine:
    """One line on stderr, with a mark that moves, of so many characters at most."""

    def __init__(self, most: int = 60) -> None:
        self.console = console(stderr=True)
        self._most = most
        self._status: Status | None = None

    def show(self, words: str) -> None:
        """In place of what is there; '' for nothing."""
        if not words:
            self.hide()
        elif self._status is not None:
            self._status.update(self._text(words))
        else:
            spinner = "line" if self.console.options.ascii_only else "dots"
            self._status = self.console.status(self._text(words), spinner=spinner)
            self._status.start()

    def hide(self) -> None:
        if self._status is not None:
            self._status.stop()
            self._status = None

    def _text(self, words: str) -> Text:
        from rich.text import Text

        shown = plain(words, self._most)
        return Text(ascii_text(shown) if self.console.options.ascii_only else shown)
