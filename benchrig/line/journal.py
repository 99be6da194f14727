"""The file of a line: one event a line, on the disk before anything else is done, read back after any death.

Nothing in it is ever written over. A last line that a power cut has shortened gets its end, and an event behind it that says
so (`TornLine`).
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from typing import Any, Self, get_args

import msgspec

from benchrig.errors import StationError, UsageError
from benchrig.files import cannot_write, held
from benchrig.line.events import AnyLineEvent, LineEvent, Moment, ShiftBegan, TornLine
from benchrig.record.journal import whole_characters

NAME = "line.jsonl"
_ADVICE = "make room on the disk, or let this user write to the file"
# Of damaged lines, each with a sentence.
_MOST_TOLD = 3
_ANY: Any = AnyLineEvent
_DECODER: msgspec.json.Decoder[AnyLineEvent] = msgspec.json.Decoder(_ANY)
_ENCODER = msgspec.json.Encoder()
_KINDS = frozenset(kind.__struct_config__.tag for kind in get_args(AnyLineEvent))


class _Head(msgspec.Struct):
    event: str


_HEAD = msgspec.json.Decoder(_Head)


@dataclass(frozen=True)
class Kept:
    """What was read: the events in their order, `torn`, the number of a last line that a power cut has shortened, and the
    numbers of the lines in the middle that cannot be read. `whole` is False when the last line lacks its end."""

    events: tuple[AnyLineEvent, ...] = ()
    torn: int | None = None
    damaged: tuple[int, ...] = ()
    lines: int = 0
    ends: bool = True

    def troubles(self, path: Path) -> list[str]:
        """For people."""
        said = [f"{path}:{self.torn}: the last line was cut off, probably by a power cut"] if self.torn else []
        if len(self.damaged) > _MOST_TOLD:
            which = ", ".join(map(str, self.damaged[:_MOST_TOLD]))
            return [*said, f"{path}: {len(self.damaged)} lines are damaged and were left out, the first ones {which}"]
        return said + [f"{path}:{number}: this line is damaged and was left out" for number in self.damaged]


def read_line(path: Path) -> Kept:
    """All that is in the file; nothing where there is none. UsageError when it cannot be read."""
    try:
        with path.open("rb") as file:
            return kept_in(file)
    except FileNotFoundError:
        return Kept()
    except OSError as exc:
        raise UsageError(f"the events of the line, {path}, cannot be read: {exc.strerror or exc}") from exc


def kept_in(lines: Iterable[bytes]) -> Kept:
    """What these lines hold, which are those of a file from its begin."""
    events, bad = list[AnyLineEvent](), list[int]()
    number, ends = 0, True
    for number, line in enumerate(lines, start=1):
        ends = line.endswith(b"\n")
        event = _event(line)
        if event is None:
            bad.append(number)
        elif isinstance(event, TornLine) and bad[-1:] == [event.line] == [number - 1]:
            bad.pop()  # it was told when the line began anew
        elif isinstance(event, LineEvent):
            events.append(event)
    torn = bad.pop() if bad and not ends and bad[-1] == number else None
    return Kept(tuple(events), torn, tuple(bad), number, ends)


def _event(line: bytes) -> AnyLineEvent | _Head | None:
    """A _Head for a kind that only a later version knows; None for what is no event."""
    try:
        return _DECODER.decode(line)
    except (msgspec.DecodeError, UnicodeDecodeError):
        with contextlib.suppress(msgspec.DecodeError, UnicodeDecodeError):
            head = _HEAD.decode(line)
            return head if head.event not in _KINDS else None
    return None


class LineJournal:
    """Appends events to the file of a line, each on the disk when `write` is done. One process at a time has it."""

    def __init__(self, path: Path, file: FileIO) -> None:
        self.path = path
        self._file = file
        self._end = file.seek(0, os.SEEK_END)

    @classmethod
    @contextlib.contextmanager
    def opened(cls, path: Path, now: Moment, *, simulated: bool) -> Iterator[tuple[Self, Kept]]:
        """The journal with what was in the file before. StationError when it cannot be written, when another process has it,
        and when it holds shifts of the other kind: real units and simulated ones are never in one file."""
        with _alone(path):
            kept = read_line(path)
            _refuse_mixed(path, kept, simulated=simulated)
            file = _appending(path)
            with file:
                journal = cls(path, file)
                journal._begin(kept, now)
                yield journal, kept

    def write(self, *events: AnyLineEvent) -> None:
        """All of them or none, on the disk when this is done. StationError."""
        if not _is_at(self._file, self.path):
            raise StationError(
                f"the file {self.path} was moved or removed", advice="put it back, or start the line anew"
            )
        self._append(_lines(events))

    def _begin(self, kept: Kept, now: Moment) -> None:
        """Give the last line its end, where a power cut has taken it."""
        if not kept.ends:
            torn = [TornLine(at=now, line=kept.torn)] if kept.torn else []
            self._append(b"\n" + _lines(torn))

    def _append(self, data: bytes) -> None:
        try:
            written = self._file.write(data)
            while written < len(data):
                written += self._file.write(data[written:])
            os.fsync(self._file.fileno())
        except OSError as exc:
            with contextlib.suppress(OSError):
                self._file.truncate(self._end)
            raise cannot_write(self.path, exc, _ADVICE) from exc
        self._end += len(data)


def _lines(events: Iterable[AnyLineEvent]) -> bytes:
    events = [*events]
    try:
        return _ENCODER.encode_lines(events)
    except UnicodeEncodeError:
        return _ENCODER.encode_lines([whole_characters(msgspec.to_builtins(event)) for event in events])


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """While this process has the file. The lock is one beside it: others may read what is in it meanwhile."""
    beside = path.with_name(f"{path.name}.lock")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = beside.open("ab")
    except OSError as exc:
        raise cannot_write(beside, exc, _ADVICE) from exc
    with file:
        if not held(file, wait=False):
            raise StationError(
                f"another benchrig line has the results in '{path.parent}'",
                advice="end that line first, or give this station a results folder on a file system with locks",
            )
        yield


def _refuse_mixed(path: Path, kept: Kept, *, simulated: bool) -> None:
    kinds = ("real", "simulated")
    if any(isinstance(event, ShiftBegan) and event.simulated != simulated for event in kept.events):
        raise StationError(
            f"{path} holds shifts of {kinds[not simulated]} units, and this line tests {kinds[simulated]} ones",
            advice="give another results folder",
        )


def _appending(path: Path) -> FileIO:
    try:
        return path.open("ab", buffering=0)
    except OSError as exc:
        raise cannot_write(path, exc, _ADVICE) from exc


def _is_at(file: FileIO, path: Path) -> bool:
    """Whether the file is where it was opened: what goes into one that was moved away is lost to the next line."""
    with contextlib.suppress(OSError):
        return os.path.samestat(os.fstat(file.fileno()), path.stat())
    return False
