"""The application: draws the view when it has changed and once a second, and hands what is typed to the line.

Time is the real one here, whatever the clock of the loop is: a thread ticks, and no timer of the screen is in the loop.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from benchrig.line_screen.engine import Shown
from benchrig.line_screen.layout import drawn
from benchrig.line_screen.typing import Said, Typing, is_text
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from prompt_toolkit.application import Application
    from prompt_toolkit.formatted_text import StyleAndTextTuples
    from prompt_toolkit.key_binding import KeyPressEvent

# A screen is drawn anew at least so often, and at most so often, in seconds.
_EVERY, _NOT_BEFORE = 1.0, 0.05


async def show(line: Shown, *, bell: bool = False) -> None:
    """Show the line until it has ended, or the terminal is gone: then the line is interrupted, and ends without a screen."""
    await _Screen(line, bell=bell).run()


class _Screen:
    def __init__(self, line: Shown, *, bell: bool) -> None:
        self._line, self._bell = line, bell
        self._typing = Typing()
        self._lines: asyncio.Queue[str] = asyncio.Queue()

    async def run(self) -> None:
        app = self._application()
        tasks = Tasks()
        reading = tasks.start(self._read())
        try:
            with _ticking(lambda: self._tick(app)) as hurry:
                watching = tasks.start(self._watch(hurry))
                try:
                    await app.run_async(handle_sigint=False, set_exception_handler=False)
                except EOFError:
                    self._line.interrupt()
                finally:
                    watching.cancel()
        finally:
            reading.cancel()

    async def _read(self) -> None:
        while True:
            await self._line.read(await self._lines.get())

    async def _watch(self, hurry: Callable[[], None]) -> None:
        while True:
            await self._line.changed.wait()
            self._line.changed.clear()
            hurry()

    def _tick(self, app: Application[None]) -> None:
        if not app.is_running or app.is_done:
            return
        if self._line.view().state == "ended":
            app.exit()
        else:
            app.invalidate()

    def _application(self) -> Application[None]:
        from prompt_toolkit.application import Application
        from prompt_toolkit.key_binding import KeyBindings
        from prompt_toolkit.keys import Keys
        from prompt_toolkit.layout import FormattedTextControl, Layout, Window

        bindings = KeyBindings()
        bindings.add(Keys.Any)(self._press)
        bindings.add(Keys.BracketedPaste)(self._press)
        window = Window(FormattedTextControl(self._content, show_cursor=False), always_hide_cursor=True)
        return Application(Layout(window), key_bindings=bindings, full_screen=True, terminal_size_polling_interval=None)

    def _content(self) -> StyleAndTextTuples:
        from prompt_toolkit.application import get_app

        size = get_app().output.get_size()
        made: StyleAndTextTuples = []
        for line in drawn(self._line.view(), self._typing.text, size.columns, size.rows):
            made += [(style, text) for text, style in line]
            made.append(("", "\n"))
        return made

    def _press(self, event: KeyPressEvent) -> None:
        pressed = event.key_sequence[-1]
        key = str(getattr(pressed.key, "value", pressed.key))
        more = any(is_text(str(getattr(each.key, "value", each.key))) for each in event.app.key_processor.input_queue)
        for said in self._typing.press(key, pressed.data, time.monotonic(), more=more):
            if said is Said.INTERRUPT:
                self._line.interrupt()
            else:
                self._lines.put_nowait(str(said))


@contextlib.contextmanager
def _ticking(tick: Callable[[], None]) -> Iterator[Callable[[], None]]:
    """Call `tick` in the running loop once a second; what is given makes that soon."""
    loop = asyncio.get_running_loop()
    hurry, ended = threading.Event(), threading.Event()

    def ticks() -> None:
        while not ended.is_set():
            if hurry.wait(_EVERY):
                ended.wait(_NOT_BEFORE)
                hurry.clear()
            with contextlib.suppress(RuntimeError):  # the loop is closed
                loop.call_soon_threadsafe(tick)

    thread = threading.Thread(target=ticks, name="ticks of the screen", daemon=True)
    thread.start()
    try:
        yield hurry.set
    finally:
        ended.set()
        hurry.set()
        thread.join()
