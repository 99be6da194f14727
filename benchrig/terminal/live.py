"""A live view on a terminal: the screen, the keys, and how both are given back.

A view is lines of spans: text with a style. It is drawn on the alternate screen, five times a second and after a key.
No text can leave its line: what is not printable is escaped, what is too long is cut, and the terminal does not wrap.

Keys, modes and what steers a terminal are prompt_toolkit's. Its own renderer compares screens cell by cell, which
takes twice the time of all that is drawn here: lines are compared instead.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Protocol

from benchrig import terminal
from benchrig.terminal import console
from benchrig.text.escape import ascii_text, plain
from benchrig.text.wrapping import Line, Span

if TYPE_CHECKING:
    from prompt_toolkit.input import Input
    from prompt_toolkit.key_binding import KeyPress
    from prompt_toolkit.output import Output

REDRAW = 0.2
CLOSED = "closed"
_STYLES: dict[str, dict[str, Any]] = {
    "bold": {"bold": True}, "dim": {"dim": True}, "reverse": {"reverse": True},
    "good": {"color": "ansigreen"}, "bad": {"color": "ansired"}, "warn": {"color": "ansiyellow"},
}  # fmt: skip
# Ctrl-D says that no keys will come, as `script` does when its own input ends: a view would wait for them for ever.
_KEYS = {"c-m": "enter", "c-j": "enter", "c-h": "back", "c-d": CLOSED, "pageup": "page up", "pagedown": "page down"}
_INTERRUPT = "c-c"


class View(Protocol):
    def lines(self, width: int, height: int) -> list[Line]:
        """What is shown now, for a screen of so many cells and lines."""
        ...

    def press(self, key: str) -> bool:
        """A key was pressed; False ends the view."""
        ...


def is_possible() -> bool:
    """Whether a person sits at a terminal that can show a live view."""
    return terminal.attended() and os.environ.get("TERM") != "dumb" and not console().legacy_windows


async def show(view: View) -> None:
    """Show the view until a key ends it, or the terminal is gone. Cancelled, it gives the terminal back too."""
    from prompt_toolkit.application.current import get_app_session

    terminal = get_app_session()
    with _pressed_on(terminal.input) as keys, contextlib.suppress(OSError), _drawn_on(terminal.output) as screen:
        while True:
            screen.draw(view.lines(*screen.size()))
            for key in await keys.wait(REDRAW):
                if key == CLOSED or not view.press(key):
                    return


class Screen:
    """Draws lines on a terminal; only those that have changed."""

    def __init__(self, output: Output, *, colours: bool = True, ascii_only: bool = False) -> None:
        from prompt_toolkit.output import ColorDepth
        from prompt_toolkit.styles import DEFAULT_ATTRS

        self.ascii_only = ascii_only
        self._output = output
        self._depth = ColorDepth.DEPTH_4_BIT if colours else ColorDepth.DEPTH_1_BIT
        self._attributes = {name: DEFAULT_ATTRS._replace(**each) for name, each in _STYLES.items()}
        self._drawn: list[list[Span]] = []
        self._size = (0, 0)

    def size(self) -> tuple[int, int]:
        """Cells and lines."""
        size = self._output.get_size()
        return size.columns, size.rows

    def draw(self, lines: Sequence[Line]) -> None:
        """Replace what is on the screen. OSError when the terminal is gone."""
        width, height = self.size()
        news = [self._fitted(line, width) for line in lines[:height]]
        news += [[] for _ in range(height - len(news))]
        self._output.reset_attributes()  # always something: it tells whether the terminal is still there
        if (width, height) != self._size:
            self._output.erase_screen()
            self._drawn, self._size = [[] for _ in news], (width, height)
        self._output.cursor_goto(0, 0)
        at = 0
        for number, (old, new) in enumerate(zip(self._drawn, news, strict=True)):
            if old != new:
                self._output.cursor_down(number - at)
                self._write(new)
                at = number
        self._drawn = news
        self._output.flush()

    def _write(self, spans: list[Span]) -> None:
        # erased first: behind a full line the cursor stands on its last cell
        self._output.erase_end_of_line()
        for text, style in spans:
            if style:
                self._output.set_attributes(self._attributes[style], self._depth)
            self._output.write(text)
            if style:
                self._output.reset_attributes()
        self._output.write("\r")

    def _fitted(self, line: Line, width: int) -> list[Span]:
        from rich.cells import cell_len

        from benchrig.text.columns import in_cells

        spans = []
        for text, style in line:
            shown = plain(text, 4 * width)
            shown = ascii_text(shown) if self.ascii_only else shown
            if cell_len(shown) > width:
                shown = in_cells(shown, width, ascii_only=self.ascii_only)
            width -= cell_len(shown)
            spans.append((shown, style))
            if width <= 0:
                break
        return spans


def key_line(keys: Sequence[tuple[str, str]], width: int) -> str:
    """Keys with what they do, in one line. Where room is short, the keys that say it themselves lose their words
    first; no key is left out."""
    spoken = [*keys]
    for key, _ in sorted(keys, key=lambda each: -len(each[0])):
        if len(_joined(spoken)) <= width:
            break
        spoken = [(name, "" if name == key else word) for name, word in spoken]
    line = _joined(spoken)
    return line if len(line) <= width else " ".join(key for key, _ in keys)


def _joined(keys: Sequence[tuple[str, str]]) -> str:
    return "  ".join(f"{key} {word}".rstrip() for key, word in keys)


@contextlib.contextmanager
def _drawn_on(output: Output) -> Iterator[Screen]:
    facts = console()
    colours = facts.color_system is not None and not facts.no_color
    try:
        output.enter_alternate_screen()
        output.hide_cursor()
        output.disable_autowrap()
        yield Screen(output, colours=colours, ascii_only=facts.options.ascii_only)
    finally:
        output.reset_attributes()
        output.enable_autowrap()
        output.show_cursor()
        output.quit_alternate_screen()
        with contextlib.suppress(OSError):
            output.flush()


class Keyboard:
    """Keys as they are pressed: 'up', 'enter', 'escape', … or the character; CLOSED when the terminal is gone. Ctrl-C
    is a signal; Ctrl-S and Ctrl-Z are keys like others: a view that stands still would lose what it hears."""

    def __init__(self, source: Input) -> None:
        self._source = source
        self._pressed: list[str] = []
        self._any = asyncio.Event()

    async def wait(self, seconds: float) -> list[str]:
        """The keys that were pressed, after at most so long."""
        try:
            async with asyncio.timeout(seconds):
                await self._any.wait()
        except TimeoutError:
            self._take(self._source.flush_keys())  # an escape that nothing has followed is one
        pressed, self._pressed = self._pressed, []
        self._any.clear()
        return pressed

    def readable(self) -> None:
        self._take(self._source.read_keys())
        if self._source.closed:
            self._pressed.append(CLOSED)
        self._any.set()

    def _take(self, pressed: Sequence[KeyPress]) -> None:
        for each in pressed:
            key = str(getattr(each.key, "value", each.key))
            if key == _INTERRUPT:
                signal.raise_signal(signal.SIGINT)
            self._pressed.append(_named(key))


def _named(key: str) -> str:
    """The key without what was held down with it, where it has a name of its own."""
    bare = key.rpartition("-")[2]
    return _KEYS.get(key) or _KEYS.get(bare) or (bare if len(bare) > 1 else key)


@contextlib.contextmanager
def _pressed_on(source: Input) -> Iterator[Keyboard]:
    from benchrig.terminal.asking import forget_typed_ahead

    keyboard = Keyboard(source)
    with source.raw_mode(), source.attach(keyboard.readable):
        try:
            yield keyboard
        finally:
            forget_typed_ahead(source)  # what was typed for the view is not for the shell
