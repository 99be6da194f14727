"""The terminal, and the person at it; nothing here knows of devices and plans.

live.py     a view that is drawn again and again, and its keys
asking.py   questions, and lines that answer them
history.py  the lines of earlier sessions
waiting.py  the line that says what is being waited for
"""

from __future__ import annotations

import os
import shutil
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

PIPE_WIDTH = 120


def attended() -> bool:
    """Whether a person sits at this terminal."""
    return sys.stdin.isatty() and sys.stdout.isatty() and "CI" not in os.environ


def console(*, stderr: bool = False) -> Console:
    """A console that respects NO_COLOR, CI, COLUMNS and pipes."""
    from rich.console import Console

    class Steady(Console):
        def on_broken_pipe(self) -> None:
            """rich would end the process with 1, which says that the unit failed."""
            raise BrokenPipeError

    plain = "CI" in os.environ and "FORCE_COLOR" not in os.environ
    stream = sys.stderr if stderr else sys.stdout
    return Steady(
        stderr=stderr, highlight=False, emoji=False, markup=False, no_color=True if plain else None,
        width=_width(is_terminal=stream.isatty()),
    )  # fmt: skip


def _width(*, is_terminal: bool) -> int | None:
    """COLUMNS, where that is a width; None for that of the terminal. A pipe has none of its own: give tables room."""
    said = os.environ.get("COLUMNS")
    if said is None:
        return None if is_terminal else PIPE_WIDTH
    if said.isdecimal() and int(said) > 0:
        return int(said)
    return shutil.get_terminal_size().columns if is_terminal else PIPE_WIDTH
