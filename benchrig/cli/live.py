"""A live view on a terminal: the screen, the keys, and how both are given back.

A view is lines of spans: text with a style. It is drawn on the alternate screen, five times a second and after a key.
No text can leave its line: what is not printable is escaped, what is too long is cut, and the terminal does not wrap.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import os
import re
import sys
from collections.abc import Iterator, Sequence
from typing import IO, Any, Protocol, TypeAlias

Span: TypeAlias = tuple[str, str]
Line: TypeAlias = Sequence[Span]

REDRAW = 0.2
_SMALLEST = (80, 24)  # what a terminal that does not tell its size is taken for
_ENTER = "\x1b[?1049h\x1b[?25l\x1b[?7l\x1b[2J"
_LEAVE = "\x1b[0m\x1b[?7h\x1b[?25h\x1b[?1049l"
_STYLES = {"": "", "bold": "1", "dim": "2", "reverse": "7"}
_COLOURS = {"good": "32", "bad": "31", "warn": "33"}

_KEY = re.compile(r"\x1b[\[O][0-9;]*[A-Za-z~]|.", re.DOTALL)
_KEYS = {
    "A": "up", "B": "down", "C": "right", "D": "left", "H": "home", "F": "end", "1~": "home", "7~": "home", "4~": "end",
    "8~": "end", "5~": "page up", "6~": "page down",
}  # fmt: skip
_PLAIN_KEYS = {"\r": "enter", "\n": "enter", "\x1b": "escape", "\x7f": "back", "\x08": "back"}
# of the Windows console, after a 0 or 0xE0
_CONSOLE_KEYS = {
    "H": "up", "P": "down", "K": "left", "M": "right", "G": "home", "O": "end", "I": "page up", "Q": "page down",
}  # fmt: skip
CLOSED = "closed"


class View(Protocol):
    def lines(self, width: int, height: int) -> list[Line]:
        """What is shown now, for a screen of so many cells and lines."""
        ...

    def press(self, key: str) -> bool:
        """A key was pressed; False ends the view."""
        ...


def is_possible() -> bool:
    """Whether a person sits at a terminal that can show a live view."""
    from benchrig.cli.common import attended, console

    return attended() and os.environ.get("TERM") != "dumb" and not console().legacy_windows


async def show(view: View) -> None:
    """Show the view until a key ends it, or the terminal is gone. Cancelled, it gives the terminal back too."""
    with _screen() as screen, _keyboard() as keys, contextlib.suppress(OSError):
        while True:
            screen.draw(view.lines(*screen.size()))
            for key in await keys.wait(REDRAW):
                if key == CLOSED or not view.press(key):
                    return


class Screen:
    """Draws lines on a terminal; only those that have changed."""

    def __init__(self, stream: IO[str], *, colours: bool = True, ascii_only: bool = False) -> None:
        self.ascii_only = ascii_only
        self._stream = stream
        self._codes = _STYLES | (_COLOURS if colours else dict.fromkeys(_COLOURS, ""))
        self._drawn: list[str] = []
        self._size = (0, 0)

    def size(self) -> tuple[int, int]:
        """Cells and lines."""
        try:
            columns, lines = os.get_terminal_size(self._stream.fileno())
        except OSError:
            return _SMALLEST
        return columns or _SMALLEST[0], lines or _SMALLEST[1]

    def draw(self, lines: Sequence[Line], size: tuple[int, int] | None = None) -> None:
        """Replace what is on the screen. OSError when the terminal is gone."""
        width, height = size or self.size()
        news = [self._rendered(line, width) for line in lines[:height]]
        news += [""] * (height - len(news))
        out = [] if (width, height) == self._size else ["\x1b[0m\x1b[2J"]
        if out:
            self._drawn, self._size = [""] * height, (width, height)
        for number, (old, new) in enumerate(zip(self._drawn, news, strict=True), 1):
            if old != new:
                # erased first: behind a full line the cursor stands on its last cell
                out.append(f"\x1b[{number};1H\x1b[2K{new}")
        self._drawn = news
        if out:
            self._stream.write("".join(out))
            self._stream.flush()

    def _rendered(self, line: Line, width: int) -> str:
        from rich.cells import cell_len

        from benchrig.cli.columns import in_cells
        from benchrig.text.escape import ascii_text, plain

        parts = []
        for text, style in line:
            shown = plain(text, 4 * width)
            shown = ascii_text(shown) if self.ascii_only else shown
            if cell_len(shown) > width:
                shown = in_cells(shown, width, ascii_only=self.ascii_only)
            width -= cell_len(shown)
            code = self._codes[style]
            parts.append(f"\x1b[{code}m{shown}\x1b[0m" if code else shown)
            if width <= 0:
                break
        return "".join(parts)


@contextlib.contextmanager
def _screen() -> Iterator[Screen]:
    from benchrig.cli.common import console

    facts, stream = console(), sys.stdout
    colours = facts.color_system is not None and not facts.no_color
    screen = Screen(stream, colours=colours, ascii_only=facts.options.ascii_only)
    try:
        stream.write(_ENTER)
        stream.flush()
        yield screen
    finally:
        with contextlib.suppress(OSError):
            stream.write(_LEAVE)
            stream.flush()


def keys_in(text: str) -> list[str]:
    """The keys that a terminal says were pressed: 'up', 'enter', 'escape', … or the character."""
    keys = []
    for word in _KEY.findall(text):
        if len(word) > 2:
            keys.append(_KEYS.get(re.sub(r"^\x1b[\[O](?:1;[0-9]+)?", "", word), ""))
        else:
            keys.append(_PLAIN_KEYS.get(word, word))
    return [key for key in keys if key]


class Keyboard:
    """Keys as they are pressed. `read` gives what has been typed so far, '' when the terminal is gone."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._pressed: list[str] = []
        self._any = asyncio.Event()

    async def wait(self, seconds: float) -> list[str]:
        """The keys that were pressed, after at most so long."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._any.wait(), seconds)
        pressed, self._pressed = self._pressed, []
        self._any.clear()
        return pressed

    def readable(self) -> None:
        try:
            data = os.read(self._descriptor, 1024)
        except OSError:
            data = b""
        if not data:
            asyncio.get_running_loop().remove_reader(self._descriptor)
        self._pressed += keys_in(data.decode("utf-8", "ignore")) if data else [CLOSED]
        self._any.set()


class ConsoleKeyboard:
    """The same for Windows, where nothing tells that a key waits: it is asked for."""

    def __init__(self, console: Any) -> None:
        self._console = console

    async def wait(self, seconds: float) -> list[str]:
        loop = asyncio.get_running_loop()
        deadline = loop.time() + seconds
        pressed = self._taken()
        while not pressed and loop.time() < deadline:
            await asyncio.sleep(0.03)
            pressed = self._taken()
        return pressed

    def _taken(self) -> list[str]:
        pressed = []
        while self._console.kbhit():
            key = self._console.getwch()
            pressed.append(
                _CONSOLE_KEYS.get(self._console.getwch(), "") if key in "\0\xe0" else _PLAIN_KEYS.get(key, key)
            )
        return [key for key in pressed if key]


@contextlib.contextmanager
def _keyboard() -> Iterator[Keyboard | ConsoleKeyboard]:
    """Keys come at once and are not shown. Ctrl-C stays a signal; Ctrl-S and Ctrl-Z are keys like others: a view that
    stands still would lose what it hears."""
    if sys.platform == "win32":
        yield ConsoleKeyboard(importlib.import_module("msvcrt"))
        return
    import termios
    import tty

    descriptor, loop = sys.stdin.fileno(), asyncio.get_running_loop()
    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor)
        mode = termios.tcgetattr(descriptor)
        mode[0] &= ~termios.IXON
        mode[6][termios.VSUSP] = b"\0"
        termios.tcsetattr(descriptor, termios.TCSANOW, mode)
        keyboard = Keyboard(descriptor)
        loop.add_reader(descriptor, keyboard.readable)
        try:
            yield keyboard
        finally:
            loop.remove_reader(descriptor)
    finally:
        with contextlib.suppress(termios.error):
            # what was typed for the view is not for the shell
            termios.tcflush(descriptor, termios.TCIFLUSH)
            termios.tcsetattr(descriptor, termios.TCSANOW, before)
