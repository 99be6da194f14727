"""The record on disk: one line of JSON an event, written as it happens, and read back after any death of the run."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, get_args

import msgspec

from benchrig.errors import StationError, UsageError
from benchrig.record.aggregate import RecordBuilder
from benchrig.record.events import FORMAT, AnyEvent
from benchrig.record.executions import UnfitEvent
from benchrig.record.format1 import KINDS as FORMAT_1_KINDS
from benchrig.record.format1 import Upgrade
from benchrig.record.model import Record
from benchrig.values.value import Word

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from types import TracebackType

# The file in the folder of a run.
RECORD = "record.jsonl"


class Journal:
    """Writes the events of one run to a new file. The file must not exist: a record is never written over.

    What is written is handed to the operating system at once, so that it survives the death of the process. It is not
    forced to the disk (fsync): that takes milliseconds, which would show in the measured times, and a record that a
    power cut shortens is read as one that was cut off.

    Raises StationError when the file cannot be made or written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._encoder = msgspec.json.Encoder(enc_hook=_plain_word)
        self._end = 0
        try:
            self._file = path.open("xb", buffering=0)
        except OSError as exc:
            raise self._unwritable(exc) from exc

    def write(self, *events: AnyEvent) -> None:
        """Append events, a line each: all of them or none. Costs a few microseconds."""
        lines = self._lines(events)
        try:
            self._append(lines)
        except OSError as exc:
            self._take_back()
            raise self._unwritable(exc) from exc

    def rewrite(self, events: Sequence[AnyEvent]) -> None:
        """Let these be all that the file holds: it is the old one or the new one at any moment, whatever dies."""
        if (gone := self.missing()) is not None:
            raise gone
        beside = self.path.with_name(f"{self.path.name}.new")
        try:
            with beside.open("wb") as file:
                file.write(self._lines(events))
            self._file.close()
            try:
                beside.replace(self.path)
            finally:
                self._file = self.path.open("r+b", buffering=0)
                self._end = self._file.seek(0, os.SEEK_END)
        except OSError as exc:
            with suppress(OSError):
                beside.unlink()
            raise self._unwritable(exc) from exc

    def missing(self) -> StationError | None:
        """What to say when the file is not where it was made: it, or a folder above it, was moved or removed."""
        with suppress(OSError):
            if os.path.samestat(os.fstat(self._file.fileno()), self.path.stat()):
                return None
        return StationError(
            f"the record {self.path} was moved or removed during the run",
            advice="keep other programs away from the results of a run that lasts",
        )

    def _lines(self, events: Sequence[AnyEvent]) -> bytes:
        events = [*events]  # of a tuple, msgspec 0.22.0 does not give back all memory
        try:
            return self._encoder.encode_lines(events)
        except UnicodeEncodeError:
            return self._encoder.encode_lines([_with_whole_characters(event) for event in events])

    def _append(self, lines: bytes) -> None:
        written = self._file.write(lines)
        while written < len(lines):
            written += self._file.write(lines[written:])
        self._end += written

    def _take_back(self) -> None:
        """Remove what went in only half, so that one written later still has its own line."""
        with suppress(OSError):
            self._file.seek(self._end)
            self._file.truncate()

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, exc: BaseException | None, tb: TracebackType | None) -> None:
        self.close()

    def _unwritable(self, exc: OSError) -> StationError:
        reason = exc.strerror or str(exc)
        return StationError(
            f"the record {self.path} cannot be written: {reason}",
            advice="give the run its own folder, on a disk with room, that this user may write to",
        )


def read_record(path: str | Path) -> Record:
    """The record of a run: of its folder, or in a file record.jsonl, complete or cut off at any byte after its first line.

    One of an earlier format reads as one of today. Raises UsageError, with the line, for a file that is no record or was
    written in a newer format.
    """
    path = Path(path)
    if path.is_dir():
        path /= RECORD
    try:
        with path.open("rb") as file:
            return record_in(file, path)
    except OSError as exc:
        raise UsageError(f"the record {path} cannot be read: {exc.strerror or exc}") from exc


def record_in(lines: Iterable[bytes], path: Path) -> Record:
    """The record in these lines, which are those of the file at `path`. UsageError as `read_record`."""
    builder, reader = RecordBuilder(), _Lines()
    number = 0
    for number, line in enumerate(lines, start=1):
        try:
            event = reader.event(line, first=number == 1)
            if event is not None:
                builder.add(event)
        except UnfitEvent as exc:
            # Only the line that a death cut short has no end; what stands before it is whole.
            if number > 1 and not line.endswith(b"\n"):
                break
            raise UsageError(f"{path}:{number}: {exc}", advice="give the record.jsonl of a run's folder") from exc
    if number == 0:
        raise UsageError(f"the record {path} is empty: the run died before it wrote its first line")
    return builder.record()


class _Head(msgspec.Struct):
    """What every line has, in every format."""

    event: str
    format: int = 1  # only the first line has one, and from format 2 on


_KINDS = frozenset(kind.__struct_config__.tag for kind in get_args(AnyEvent))
_ANY_EVENT: Any = AnyEvent
_DECODER: msgspec.json.Decoder[AnyEvent] = msgspec.json.Decoder(_ANY_EVENT)
_DATA = msgspec.json.Decoder(dict[str, Any])
_HEAD = msgspec.json.Decoder(_Head)


class _Lines:
    """The lines of one record, in the format that its first one tells."""

    def __init__(self) -> None:
        self._upgrade: Upgrade | None = None

    def event(self, line: bytes, *, first: bool) -> AnyEvent | None:
        """The event in one line; None for a kind that only a later version knows."""
        try:
            if first:
                self._begin(_HEAD.decode(line))
            if self._upgrade is None:
                return _DECODER.decode(line)
            return msgspec.convert(self._upgrade.line(_DATA.decode(line)), _ANY_EVENT)  # type: ignore[no-any-return]
        except (msgspec.DecodeError, UnicodeDecodeError) as exc:
            if not first and self._is_unknown_kind(line):
                return None
            raise UnfitEvent(f"this is not a line of a record ({exc})") from exc

    def _begin(self, head: _Head) -> None:
        if head.format > FORMAT:
            newest = f"this version of benchrig reads up to format {FORMAT}"
            raise UnfitEvent(f"written in format {head.format}; {newest}")
        self._upgrade = Upgrade() if head.format == 1 else None

    def _is_unknown_kind(self, line: bytes) -> bool:
        kinds = _KINDS if self._upgrade is None else FORMAT_1_KINDS
        try:
            return _HEAD.decode(line).event not in kinds
        except (msgspec.DecodeError, UnicodeDecodeError):
            return False


def _plain_word(value: Any) -> str:
    """Words in place of numbers are text to a reader of the record.

    NaN and infinities are such words too; as floats they never occur in an event (JSON has none).
    """
    if isinstance(value, Word):
        return str(value)
    raise TypeError(f"an event cannot carry {type(value).__name__}")


def _with_whole_characters(event: AnyEvent) -> AnyEvent:
    """The event with each half of a surrogate pair, which UTF-8 cannot carry, shown as an escape."""
    return msgspec.convert(whole_characters(msgspec.to_builtins(event, enc_hook=_plain_word)), type(event))


def whole_characters(data: Any) -> Any:
    """Plain data whose texts UTF-8 can carry: halves of surrogate pairs are shown as escapes."""
    if isinstance(data, str):
        return data.encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(data, dict):
        return {whole_characters(key): whole_characters(item) for key, item in data.items()}
    return [whole_characters(item) for item in data] if isinstance(data, list) else data
