"""The last words of the process: whatever its outputs do (closed, full, another character set, a terminal that is
gone), the exit code is that of what was done.

A stream that fails once raises once, so that work for nobody can end; then, and at the end of the interpreter, it
takes everything and drops it. This module is loaded before everything else and imports nothing heavy.
"""

from __future__ import annotations

import errno
import io
import os
import sys
import threading
from collections.abc import Callable
from typing import Any, NoReturn

from benchrig import collector, signals

# What a reader that is gone looks like; anything else lost data that somebody wants.
_NOBODY_READS = (errno.EPIPE, errno.EIO, errno.EBADF, errno.ESHUTDOWN)
NOT_WRITTEN = 7

_told = False
_results_lost = False


def run(command: Callable[[], object]) -> NoReturn:
    """Run the command, and end the process with its exit code."""
    signals.begin()
    steady_streams()
    code = ended(command)
    if any(not each.daemon for each in threading.enumerate() if each is not threading.main_thread()):
        os._exit(code)  # a thread that a function of the plan began would keep the process for ever
    collector.end()
    sys.exit(code)


def ended(command: Callable[[], object]) -> int:
    """Run the command and say its last words; the exit code. One whose results were lost on a full disk has no 0."""
    code = _code_of(command)
    signals.ignore()
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError as error:
            output_was_lost(error)
    return NOT_WRITTEN if code == 0 and _results_lost else code


def _code_of(command: Callable[[], object]) -> int:
    try:
        command()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    except KeyboardInterrupt:
        sys.stderr.write("\nbenchrig: interrupted\n")
        return 2
    except BaseException as error:
        return internal(error)
    return 0


def internal(error: BaseException) -> int:
    """Show what nobody expected; its exit code."""
    import traceback

    traceback.print_exception(error)
    sys.stderr.write(f"benchrig: internal error ({type(error).__name__}): please report it with the lines above\n")
    return 3


def output_was_lost(error: OSError, *, results: bool = True) -> None:
    """Say once that the output could not be written, where somebody reads it. `results` are what the command is for;
    what stands beside a verdict are words."""
    global _told, _results_lost
    if error.errno in _NOBODY_READS or isinstance(error, BrokenPipeError):
        return
    _results_lost = _results_lost or results
    if not _told:
        _told = True
        sys.stderr.write(f"benchrig: the output cannot be written: {error.strerror or error}\n")


def steady_streams() -> None:
    """Give the process three standard streams that outlive whatever is behind them."""
    for descriptor in range(3):
        try:
            os.fstat(descriptor)
        except OSError:  # closed: the next file that is opened would get its number
            os.open(os.devnull, os.O_RDWR)
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115
    sys.stdout = steady(sys.stdout, loud=True)
    sys.stderr = steady(sys.stderr, loud=False)


def steady(stream: Any, *, loud: bool) -> Any:
    """The stream on top of one that never fails twice."""
    if stream is None:
        return open(os.devnull, "w", encoding="utf-8")
    under = getattr(stream, "buffer", None)
    raw = getattr(under, "raw", under)  # with python -u there is no buffer between
    if not isinstance(raw, io.RawIOBase):
        return stream  # not that of a process
    stream.flush()
    buffer = io.BufferedWriter(_Steady(raw, loud=loud))
    return io.TextIOWrapper(buffer, stream.encoding, "backslashreplace", line_buffering=stream.isatty() or not loud)


class _Steady(io.RawIOBase):
    """Writes to `raw` until that fails; then takes what comes, and a `loud` one raises the first time."""

    def __init__(self, raw: Any, *, loud: bool) -> None:
        super().__init__()
        self._raw = raw
        self._loud = loud
        self._gone = False

    def write(self, data: Any) -> Any:
        if self._gone:
            return len(data)
        try:
            return self._raw.write(data)
        except OSError:
            self._gone = True
            if self._loud:
                raise
            return len(data)

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return int(self._raw.fileno())

    def isatty(self) -> bool:
        return bool(self._raw.isatty())
