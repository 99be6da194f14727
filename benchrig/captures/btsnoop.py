"""btsnoop files: HCI packets with their times.

What writes them: `--capture` and Android (data link 1002, H4), older tools (1001, HCI without its packet type), btmon of
Linux (2001, with the adapter). Integers are big-endian, times are microseconds.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Literal, TypeAlias

from benchrig.errors import UsageError

Kind: TypeAlias = Literal["command", "data", "event"]

MAGIC = b"btsnoop\0"
_HEAD, _RECORD = struct.Struct(">8sII"), struct.Struct(">IIIIq")
HCI, H4, MONITOR = 1001, 1002, 2001
_H4_KINDS: dict[int, Kind] = {1: "command", 2: "data", 4: "event"}
# of btmon: opcode → (kind, sent by the host)
_MONITOR_KINDS: dict[int, tuple[Kind, bool]] = {
    2: ("command", True),
    3: ("event", False),
    4: ("data", True),
    5: ("data", False),
}
# An ACL packet has at most 65535 octets and a head of 4; nothing else is longer.
LONGEST = 65535 + 5
# All of a capture is held at once, in some ten times as many bytes.
MOST_BYTES = 256 * 1024 * 1024
_ADVICE = "give a capture that benchrig, btmon or Android has written"


@dataclass(frozen=True, slots=True)
class Packet:
    """One packet between a host and its controller; `octets` without the packet type."""

    at: float  # seconds since the first packet of the file
    kind: Kind
    sent: bool  # by the host
    octets: bytes
    adapter: int = 0


@dataclass
class Capture:
    """What is in a file. `cut_off`: the offset from which on it is not whole; `shortened`: packets whose end is missing."""

    packets: list[Packet]
    cut_off: int | None = None
    shortened: int = 0


def read_capture(path: Path) -> Capture:
    """Raises UsageError, with the offset, for a file that is none. One that was cut off is read up to there."""
    try:
        if (size := path.stat().st_size) > MOST_BYTES:
            message = f"the capture {path} has {size >> 20} MiB, more than {MOST_BYTES >> 20} MiB"
            raise UsageError(message, advice="give the part of it that the run took")
        with path.open("rb") as file:
            return _Reading(path, file).all()
    except OSError as exc:
        raise UsageError(f"the capture {path} cannot be read: {exc.strerror or exc}") from exc


class _Reading:
    def __init__(self, path: Path, file: BinaryIO) -> None:
        self._path, self._file = path, file
        self._link = self._begin()
        self._capture = Capture([])
        self._first: int | None = None

    def _begin(self) -> int:
        head = self._file.read(_HEAD.size)
        if not head.startswith(MAGIC):
            found = head[:8].hex(" ").upper() or "nothing"
            raise self._wrong(0, f"expected 'btsnoop', found {found}")
        if len(head) < _HEAD.size:
            raise self._wrong(len(head), "expected a head of 16 bytes, found the end of the file")
        _, version, link = _HEAD.unpack(head)
        if version != 1:
            raise self._wrong(8, f"expected version 1, found {version}")
        if link not in (HCI, H4, MONITOR):
            raise self._wrong(12, f"expected data link {HCI}, {H4} or {MONITOR}, found {link}")
        return int(link)

    def _wrong(self, offset: int, what: str) -> UsageError:
        return UsageError(f"{self._path} is not a capture in btsnoop format: offset {offset}: {what}", advice=_ADVICE)

    def all(self) -> Capture:
        self._capture.packets.extend(self._packets())
        return self._capture

    def _packets(self) -> Iterator[Packet]:
        offset = _HEAD.size
        while head := self._file.read(_RECORD.size):
            if len(head) < _RECORD.size:
                self._capture.cut_off = offset
                return
            original, length, flags, _, time = _RECORD.unpack(head)
            if length > min(original, LONGEST):
                raise self._wrong(
                    offset, f"expected a packet of at most {min(original, LONGEST)} bytes, found {length}"
                )
            octets = self._file.read(length)
            if len(octets) < length:
                self._capture.cut_off = offset
                return
            offset += _RECORD.size + length
            self._capture.shortened += length < original
            if length == original and (packet := self._packet(octets, flags, time)):
                yield packet

    def _packet(self, octets: bytes, flags: int, time: int) -> Packet | None:
        """None for what is neither a command nor an event nor ACL data."""
        self._first = time if self._first is None else self._first
        at = (time - self._first) / 1e6
        if self._link == MONITOR:
            kind, sent = _MONITOR_KINDS.get(flags & 0xFFFF, (None, False))
            return kind and Packet(at, kind, sent, octets, flags >> 16)
        sent = not flags & 1
        if self._link == H4:
            h4 = _H4_KINDS.get(octets[0]) if octets else None
            return h4 and Packet(at, h4, sent, octets[1:])
        return Packet(at, ("command" if sent else "event") if flags & 2 else "data", sent, octets)
