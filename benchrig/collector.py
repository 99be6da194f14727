"""When Python looks for garbage: hardly while modules, plans and devices are loaded, for they stay."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator

_USUAL = gc.get_threshold()
# More new objects than a command loads: looking at them again and again took a tenth of its time.
_HARDLY = 100_000
# Of a process with run after run: what is set aside counts as old, and Python would hardly ever look at it again.
_LOOKS_AFTER = 100
_times = 0
_is_aside = False
# so many runs measure, and set aside what was there before the first of them
_measuring = 0


def begin() -> None:
    """The process begins, and loads what it needs."""
    gc.set_threshold(_HARDLY)


def loaded() -> None:
    """All is there that stays: it is never looked through again, and what comes from now on as usual."""
    global _is_aside
    if gc.get_threshold()[0] == _HARDLY:
        gc.freeze()
        gc.set_threshold(*_USUAL)
        _is_aside = True


def end() -> None:
    """The process ends: the interpreter need not look for garbage on its way out."""
    gc.freeze()


@contextlib.contextmanager
def set_aside() -> Iterator[None]:
    """While steps are measured: what was there before them is not looked through, which takes as long as many steps. Of
    several at once the last one to end puts an end to it."""
    global _is_aside, _measuring
    if not _measuring and (_is_aside or _is_frozen_by_others()):
        yield
        return
    if not _measuring:
        gc.freeze()
        _is_aside = True
    _measuring += 1
    try:
        yield
    finally:
        _measuring -= 1
        if not _measuring:
            gc.unfreeze()
            _is_aside = False
            _look_now_and_then()


def _is_frozen_by_others() -> bool:
    """Asked until it is so, no more: to count what is frozen takes as long as to look through it."""
    global _is_aside
    _is_aside = gc.get_freeze_count() > 0
    return _is_aside


def _look_now_and_then() -> None:
    global _times
    _times = (_times + 1) % _LOOKS_AFTER
    if not _times:
        gc.collect()


@contextlib.contextmanager
def paused() -> Iterator[None]:
    """While a large tree without cycles grows: going through it again and again takes a quarter of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
