"""The application: draws the view when it has changed and once a second, and hands what is typed to the line."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import replace
from datetime import datetime

from prompt_toolkit.application import Application, get_app
from prompt_toolkit.application.current import get_app_session
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.key_binding import KeyBindings, KeyPress, KeyPressEvent
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import FormattedTextControl, Layout, Window
from prompt_toolkit.output import ColorDepth, Output
from prompt_toolkit.styles import Style

from benchrig.errors import InternalError
from benchrig.line_screen.engine import Shown
from benchrig.line_screen.keys import typed_only
from benchrig.line_screen.layout import drawn
from benchrig.line_screen.seen import Seen
from benchrig.line_screen.ticking import ticking
from benchrig.line_screen.typing import Said, Typing, is_text
from benchrig.line_screen.writing import written_apart
from benchrig.tasks import Tasks
from benchrig.terminal import console
from benchrig.terminal.asking import forget_typed_ahead
from benchrig.text.wrapping import Line, Span

_STYLE = Style.from_dict(
    {
        "pass": "ansigreen", "fail": "ansired", "stop": "ansiyellow", "rehearsal": "ansimagenta", "ask": "ansicyan",
        "refused": "ansimagenta",
        "work": "ansicyan", "note": "ansiyellow", "title": "reverse bold", "strong": "bold", "cursor": "reverse",
        "letters": "bold", "dim": "",
    }
)  # fmt: skip

# Presses of a key that follow each other within so many seconds are one.
_HELD = 1.0


async def show(line: Shown, *, bell: bool = False) -> None:
    """Show the line until it has ended, or the terminal is gone: then the line is interrupted, and ends without a screen.
    InternalError where it could not be drawn; the line is interrupted then, too."""
    await _Screen(line, bell=bell).run()


class _Screen:
    def __init__(self, line: Shown, *, bell: bool) -> None:
        self._line, self._bell = line, bell
        self._typing = Typing()
        self._lines: asyncio.Queue[tuple[str, int]] = asyncio.Queue()
        self._seen = Seen()
        self._ascii_only = console().options.ascii_only
        self._heard: set[tuple[str, ...]] = set()
        self._trouble = ""
        self._shown: list[Line] = []
        self._interrupted = float("-inf")

    async def run(self) -> None:
        loop = asyncio.get_running_loop()
        terminal = get_app_session()
        typed_only(terminal.input)

        def gone() -> None:
            with contextlib.suppress(RuntimeError):  # the loop is closed
                loop.call_soon_threadsafe(self._end, app)

        with written_apart(terminal.output, gone) as (output, is_busy):
            app = self._application(output)
            async with self._at_work(app, is_busy):
                try:
                    await app.run_async(handle_sigint=False, set_exception_handler=False)
                except (EOFError, OSError):
                    self._line.leave()
        with contextlib.suppress(OSError):
            forget_typed_ahead(terminal.input)
        if self._trouble:
            raise InternalError(f"the screen could not be drawn: {self._trouble}")

    @contextlib.asynccontextmanager
    async def _at_work(self, app: Application[None], is_busy: Callable[[], bool]) -> AsyncIterator[None]:
        def failed(error: Exception) -> None:
            self._fail(error, app)

        with ticking(lambda: self._tick(app, is_busy)) as hurry:
            async with Tasks(failed) as tasks:
                tasks.leave(self._read())
                tasks.leave(self._watch(hurry))
                yield

    async def _read(self) -> None:
        while True:
            await self._line.read(*await self._lines.get())

    async def _watch(self, hurry: Callable[[], None]) -> None:
        while True:
            await self._line.changed.wait()
            self._line.changed.clear()
            hurry()

    def _tick(self, app: Application[None], is_busy: Callable[[], bool]) -> None:
        try:
            self._look(app, is_busy)
        except Exception as error:
            self._fail(error, app)

    def _look(self, app: Application[None], is_busy: Callable[[], bool]) -> None:
        """Drawing takes prompt_toolkit ten times as long as finding out that there is nothing to draw."""
        if self._line.view().state == "ended":
            self._exit(app)
        elif is_busy():
            self._seen.drawn(self._number(), time.monotonic(), late=True)
        elif app.is_running:
            if self._has_news():
                _repaint(app)
                if self._bell:
                    app.output.bell()
                app.invalidate()
            elif self._lines_now(app) != self._shown:
                app.invalidate()

    def _end(self, app: Application[None]) -> None:
        self._line.leave()
        self._exit(app)

    def _exit(self, app: Application[None]) -> None:
        if app.is_running and not app.is_done:
            app.exit()

    def _fail(self, error: Exception, app: Application[None]) -> None:
        """Whatever the error: the units that are tested are not its business."""
        self._trouble = self._trouble or f"{type(error).__name__}: {error}"
        self._end(app)

    # --- out

    def _application(self, output: Output) -> Application[None]:
        facts = console()
        colours = facts.color_system is not None and not facts.no_color
        window = Window(FormattedTextControl(self._content, show_cursor=False), always_hide_cursor=True)
        return Application(
            Layout(window),
            style=_STYLE,
            include_default_pygments_style=False,
            key_bindings=self._bindings(),
            full_screen=True,
            color_depth=ColorDepth.DEPTH_4_BIT if colours else ColorDepth.DEPTH_1_BIT,
            terminal_size_polling_interval=None,
            output=output,
        )

    def _content(self) -> StyleAndTextTuples:
        app = get_app()
        self._seen.drawn(self._number(), time.monotonic())
        try:
            self._shown = self._lines_now(app)
        except Exception as error:
            self._fail(error, app)
        made: StyleAndTextTuples = []
        for line in self._shown:
            made += [(" ".join(f"class:{each}" for each in style.split()), text) for text, style in _trimmed(line)]
            made.append(("", "\n"))
        return made[:-1]

    def _lines_now(self, app: Application[None]) -> list[Line]:
        size, now = app.output.get_size(), datetime.now().astimezone()
        view, typed = self._line.view(), self._typing.text
        if view.asked and self._seen.at(time.monotonic()) != view.asked.number:
            view = replace(view, asked=replace(view.asked, early=True))
        return drawn(view, typed, size.columns, size.rows, now, ascii_only=self._ascii_only)

    def _number(self) -> int:
        """Of the question that is open."""
        asked = self._line.view().asked
        return asked.number if asked is not None else 0

    def _has_news(self) -> bool:
        """Whether there is a verdict or a question that was not there before."""
        view = self._line.view()
        now: set[tuple[str, ...]] = {(slot.name, slot.serial, slot.word) for slot in view.slots if slot.word}
        if view.asked:
            now.add(("asked", view.asked.slot, view.asked.text))
        news, self._heard = bool(now - self._heard), now
        return news

    # --- in

    def _bindings(self) -> KeyBindings:
        """All keys are the typing's: prompt_toolkit has meanings for many of them."""
        bindings = KeyBindings()
        for key in Keys:
            bindings.add(key)(self._press)
        return bindings

    def _press(self, event: KeyPressEvent) -> None:
        pressed = event.key_sequence[-1]
        if _name(pressed) == "escape":
            _repaint(event.app)
        if not self._typing.text:
            self._seen.begins(time.monotonic())
        more = any(is_text(_name(each)) for each in event.app.key_processor.input_queue)
        now = time.monotonic()
        for said in self._typing.press(_name(pressed), pressed.data, now, more=more):
            if said is Said.INTERRUPT:
                self._interrupt(now)
            else:
                self._lines.put_nowait((str(said), self._seen.before_line))

    def _interrupt(self, now: float) -> None:
        """A key that is held down is pressed once: the second time leaves the clean-up of the units out."""
        is_held, self._interrupted = now - self._interrupted < _HELD, now
        if not is_held:
            self._line.interrupt()


def _trimmed(line: Line) -> list[Span]:
    """Without the blanks at its end: each cell that is drawn costs time."""
    spans = [*line]
    while spans and not spans[-1][1] and not spans[-1][0].rstrip(" "):
        spans.pop()
    if spans and not spans[-1][1]:
        spans[-1] = (spans[-1][0].rstrip(" "), "")
    return spans


def _repaint(app: Application[None]) -> None:
    """All of the screen, not what has changed alone: others write on a console too, and a verdict must not be under that."""
    app.renderer.erase(leave_alternate_screen=False)
    app.output.erase_screen()
    app.output.cursor_goto(0, 0)


def _name(pressed: KeyPress) -> str:
    return str(getattr(pressed.key, "value", pressed.key))
