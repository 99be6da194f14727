"""The line of Python that asks for a step: what stands for it in the record, and in what is said of a mistake."""

from __future__ import annotations

import contextlib
import inspect
import linecache
from collections.abc import Iterator
from contextvars import ContextVar
from functools import lru_cache
from pathlib import Path
from types import FrameType

from benchrig.source.problem import Place, Source

_OWN = str(Path(__file__).parents[1])
_UNKNOWN = Place(Source("<python>", ""), 1, 1)
# of who asks from another thread, where no frame shows it
_SAID: ContextVar[Place | None] = ContextVar("benchrig place", default=None)


def calling_place() -> Place:
    """Of the innermost code that is neither benchrig's nor of Python or a package that is installed."""
    if (said := _SAID.get()) is not None:
        return said
    frame: FrameType | None = inspect.currentframe()
    while frame is not None and _is_passed_over(frame.f_code.co_filename):
        frame = frame.f_back
    return _UNKNOWN if frame is None else _place(frame.f_code.co_filename, frame.f_lineno)


@contextlib.contextmanager
def asked_at(place: Place) -> Iterator[None]:
    """What is asked for meanwhile, in this context, is asked for there."""
    token = _SAID.set(place)
    try:
        yield
    finally:
        _SAID.reset(token)


@lru_cache(maxsize=1024)
def _is_passed_over(file: str) -> bool:
    return file.startswith((_OWN, _LIBRARY, "<frozen")) or not _INSTALLED.isdisjoint(Path(file).parts)


# where asyncio and contextlib are, and what pytest has of its own
_LIBRARY = str(Path(contextlib.__file__ or "").parent)
_INSTALLED = frozenset({"site-packages", "dist-packages"})


def _place(file: str, line: int) -> Place:
    source = _source(file)
    text = source.line(line)
    return Place(source, line, len(text) - len(text.lstrip()) + 1)


@lru_cache(maxsize=64)
def _source(file: str) -> Source:
    return Source(shown(file), "".join(linecache.getlines(file)))


def shown(file: str) -> str:
    """Seen from the current folder, where it is below that."""
    path = Path(file)
    return str(path.relative_to(Path.cwd())) if path.is_relative_to(Path.cwd()) else file
