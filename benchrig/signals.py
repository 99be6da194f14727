"""Signals of the process: Ctrl-C, SIGTERM and a terminal that is closed.

held        while something must not be left half done they are remembered
let through  before there is anything to clean up they are a KeyboardInterrupt
handed on    inside an event loop they are a call
ignored      when the last word has been said

This module is loaded before everything else and imports nothing heavy.
"""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any

Handler = Callable[[int, FrameType | None], Any]

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP")  # Windows has no SIGHUP
_came: list[int] = []
_begun = False
_heard = 0


def begin() -> None:
    """Hold them from the start of the process on."""
    global _begun
    _begun = True
    hold()


def let_through() -> None:
    """Until `hold`: one that came meanwhile interrupts now. Like `hold` of no effect in a process that did not
    `begin`: its signals are another's."""
    if _begun:
        _set(_interrupt)
        if _came:
            _came.clear()
            raise KeyboardInterrupt


def hold() -> None:
    if _begun:
        _set(_remember)


def heard() -> int:
    """How many have been held or handed on: whoever does several things one after the other leaves out the others."""
    return _heard


@contextlib.contextmanager
def handed_to(call: Callable[[], object]) -> Iterator[None]:
    """Make each a call, and those that were held one at once."""

    def hand_on(*_: object) -> None:
        _count()
        call()

    before = _set(hand_on)
    try:
        if _came:
            _came.clear()
            call()
        yield
    finally:
        for number, earlier in before.items():
            signal.signal(number, earlier)


def ignore() -> None:
    """For good: the interpreter gives other handlers up before it ends."""
    if _begun:
        _set(signal.SIG_IGN)


def _remember(number: int, _: FrameType | None) -> None:
    _count()
    _came.append(number)


def _count() -> None:
    global _heard
    _heard += 1


def _interrupt(_: int, __: FrameType | None) -> None:
    raise KeyboardInterrupt


def _set(handler: Handler | signal.Handlers) -> dict[int, Any]:
    """Set the handler of each, and give those before. One that was ignored from outside stays so (nohup); only the
    main thread has handlers."""
    if threading.current_thread() is not threading.main_thread():
        return {}
    numbers = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    return {
        number: signal.signal(number, handler)
        for number in numbers
        if signal.getsignal(number) not in (signal.SIG_IGN, None)
    }
