"""The line that says what a command waits for: on a terminal only, and gone when the wait is over."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from benchrig.cli.out import console

if TYPE_CHECKING:
    from rich.status import Status


@contextlib.contextmanager
def status_line() -> Iterator[Callable[[str], None]]:
    """What takes the words of what is being waited for, '' for nothing. In a pipe, in CI and on a terminal that cannot
    erase a line they are not shown."""
    line = _Line() if _is_wanted() else None
    try:
        yield line.show if line is not None else lambda _: None
    finally:
        if line is not None:
            line.show("")


def _is_wanted() -> bool:
    # both: what is printed must find the line erased
    is_watched = sys.stdout.isatty() and sys.stderr.isatty()
    return is_watched and "CI" not in os.environ and os.environ.get("TERM") != "dumb"


class _Line:
    def __init__(self) -> None:
        self._status: Status | None = None

    def show(self, what: str) -> None:
        if self._status is not None:
            self._status.stop()
            self._status = None
        if what:
            from rich.text import Text

            from benchrig.text.escape import ascii_text, plain

            screen = console(stderr=True)
            ascii_only = screen.options.ascii_only
            text = ascii_text(plain(what, 60)) if ascii_only else plain(what, 60)
            self._status = screen.status(Text(text), spinner="line" if ascii_only else "dots")
            self._status.start()
