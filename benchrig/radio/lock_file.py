"""One process at a time on a radio of this machine: a file a radio, which says who has it.

The lock is the system's own (flock, on Windows that of msvcrt): it goes with its process, however that ends, so that a
file which a dead one has left locks nothing. Whoever wants the radio waits in a line, which is a lock too: a process that
takes the radio again and again, a test a time, does so in turn with the others.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from benchrig.errors import StationError

LOOK_EVERY = 0.1
# How long one waits for another benchrig on the same radio, unless told otherwise.
WITHIN = 15.0
# Shorter waits for another benchrig are not worth a word.
WAITED = 0.5
_SHARED = Path("/run/lock")
_LONGEST_COMMAND = 120
# Of what is said in the file.
_MOST = 65536


def folder() -> Path:
    """Where all programs of this machine find it; where that is closed to us, those of this user."""
    import tempfile

    own = os.environ.get("XDG_RUNTIME_DIR")
    places = [_SHARED, *([Path(own)] if own else []), Path(tempfile.gettempdir())]
    return next((place for place in places if place.is_dir() and os.access(place, os.W_OK | os.X_OK)), places[-1])


@dataclass(frozen=True)
class Holder:
    """Who has a radio; 0 and '' for what it does not say."""

    process: int = 0
    command: str = ""
    since: str = ""

    def __str__(self) -> str:
        if not self.process:
            return "another benchrig"
        if self.process == os.getpid():
            return f"this process itself{self._since}"
        command = f", {self.command}" if self.command else ""
        return f"another benchrig (process {self.process}{command}{self._since})"

    @property
    def _since(self) -> str:
        return f", since {self.since}" if self.since else ""

    @classmethod
    def here(cls) -> Holder:
        return cls(os.getpid(), _shown(_command()), datetime.now().astimezone().isoformat(" ", "seconds"))


def _command() -> str:
    """The program and what it was told to do. Behind that may be what nobody else is to read."""
    program = Path(sys.argv[0])
    name = program.parent.name if program.name == "__main__.py" else program.name
    what = [word for word in sys.argv[1:2] if not word.startswith("-")]
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    return " ".join([name, *what, *([f"({worker})"] if worker else [])])


@dataclass(frozen=True)
class Radio:
    """What a lock is about, in words: 'the adapter 'hci0'', and what to do when somebody else has it."""

    file: str
    called: str
    advice: str


class LockFile:
    """Held from `take` to `release`. `left` is what the last holder has said."""

    def __init__(self, descriptor: int, waited: float) -> None:
        self._descriptor, self._holder = descriptor, Holder.here()
        self.left, self.waited = _read(descriptor), waited
        self.say({})

    @classmethod
    async def take(cls, radio: Radio, within: float) -> LockFile:
        """Wait for it. StationError when another process has it all the while, or it cannot be made."""
        now = asyncio.get_running_loop().time
        began = now()
        with contextlib.ExitStack() as resources:
            line, descriptor = _opened(radio, "line"), _opened(radio, "lock")
            resources.callback(os.close, line)
            closing = contextlib.ExitStack()
            resources.push(closing)
            closing.callback(os.close, descriptor)
            for each in (line, descriptor):
                await _locked(each, lambda: _busy(descriptor, radio, within), began + within)
            closing.pop_all()
            return cls(descriptor, now() - began)

    def say(self, more: Mapping[str, Any]) -> None:
        """Into the file, beside who holds it."""
        said = json.dumps({**asdict(self._holder), **more}).encode()
        with contextlib.suppress(OSError):  # a full disk
            os.lseek(self._descriptor, 0, os.SEEK_SET)
            os.write(self._descriptor, said)
            os.ftruncate(self._descriptor, len(said))

    def release(self) -> None:
        os.close(self._descriptor)


def waited_for(seconds: float, radio: str) -> list[str]:
    """The sentence for the record."""
    return [f"waited {seconds:.1f} s for another benchrig that used this {radio}"] if seconds > WAITED else []


def holder(file: str) -> Holder | None:
    """Who uses the radio now; None when nobody does."""
    try:
        descriptor = os.open(_path(file, "lock"), _SHARED_WITH | os.O_RDWR)
    except OSError:
        return None
    try:
        return None if _is_free(descriptor) else _said_by(_read(descriptor))
    finally:
        os.close(descriptor)


def name_of(place: str) -> str:
    """Of a file, for what may have any characters in it."""
    return re.sub(r"[^A-Za-z0-9.]+", "-", place).strip("-")


def _path(file: str, kind: str) -> Path:
    return folder() / f"benchrig-{file}.{kind}"


# A link that somebody laid is not followed; Windows has neither of these.
_SHARED_WITH = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)


def _opened(radio: Radio, kind: str) -> int:
    """For every user of the machine. StationError."""
    path, flags = _path(radio.file, kind), _SHARED_WITH | os.O_RDWR
    try:
        try:
            return os.open(path, flags)  # in a shared folder the kernel refuses O_CREAT for the file of another user
        except FileNotFoundError:
            descriptor = os.open(path, flags | os.O_CREAT, 0o666)
            with contextlib.suppress(OSError, AttributeError):
                os.fchmod(descriptor, 0o666)
            return descriptor
    except OSError as exc:
        raise StationError(
            f"the lock of {radio.called}, {path}, cannot be opened: {exc.strerror}",
            advice="remove it, or let this user write to it",
        ) from exc


async def _locked(descriptor: int, busy: Callable[[], StationError], deadline: float) -> None:
    loop = asyncio.get_running_loop()
    while not _lock(descriptor):
        if loop.time() >= deadline:
            raise busy()
        await asyncio.sleep(LOOK_EVERY)


def _busy(descriptor: int, radio: Radio, within: float) -> StationError:
    who = _said_by(_read(descriptor))
    advice = "close it there first" if who.process == os.getpid() else radio.advice
    return StationError(f"{who} is using {radio.called}, and did not end in {within:g} s", advice=advice)


def _read(descriptor: int) -> dict[str, Any]:
    """Nothing where something else stands there."""
    try:
        os.lseek(descriptor, 0, os.SEEK_SET)
        said = json.loads(os.read(descriptor, _MOST))
    except (OSError, ValueError):
        return {}
    return said if isinstance(said, dict) else {}


def _said_by(said: Mapping[str, Any]) -> Holder:
    process = said.get("process")
    own = process if isinstance(process, int) else 0
    return Holder(own, _shown(str(said.get("command", ""))), _shown(str(said.get("since", ""))))


def _shown(text: str) -> str:
    """Any user of the machine may have written it."""
    plain = "".join(each if each.isprintable() else "?" for each in text)
    return plain if len(plain) <= _LONGEST_COMMAND else f"{plain[: _LONGEST_COMMAND - 1]}…"


if sys.platform == "win32":
    import msvcrt

    # What is locked there nobody else can read: an octet behind all that is said.
    _BEHIND = 1 << 30

    def _lock(descriptor: int) -> bool:
        os.lseek(descriptor, _BEHIND, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    _is_free = _lock
else:
    import fcntl

    def _lock(descriptor: int, kind: int = fcntl.LOCK_EX) -> bool:
        try:
            fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _is_free(descriptor: int) -> bool:
        return _lock(descriptor, fcntl.LOCK_SH)
