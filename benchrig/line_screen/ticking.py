"""Ticks in real time, whatever the clock of the loop is: a virtual one would run through the seconds of a screen."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable, Iterator

# Something is drawn anew at least so often, and when it changes after so long, in seconds: changes come in crowds.
EVERY, SOON = 1.0, 0.2


@contextlib.contextmanager
def ticking(tick: Callable[[], None]) -> Iterator[Callable[[], None]]:
    """Call `tick` in the running loop once a second; what is given makes that soon. No timer is in the loop."""
    loop = asyncio.get_running_loop()
    hurry, ended = threading.Event(), threading.Event()

    def ticks() -> None:
        while not ended.is_set():
            if hurry.wait(EVERY):
                ended.wait(SOON)
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
