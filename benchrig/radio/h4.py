"""H4: HCI packets on a stream of octets (Core Vol 4 Part A). Each is one octet that names its type, then the packet.

The format has no mark to find a packet by: after one octet that is no type nothing that follows can be trusted.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

COMMAND, ACL, SYNCHRONOUS, EVENT, ISO = 1, 2, 3, 4, 5
FROM_HOST = frozenset({COMMAND, ACL, SYNCHRONOUS, ISO})
FROM_CONTROLLER = frozenset({ACL, SYNCHRONOUS, EVENT, ISO})


class _Header(NamedTuple):
    """Octets of a header without the type; where in it the length stands; its octets and bits (Core Vol 4 Part E 5.4)."""

    size: int
    at: int
    octets: int
    mask: int


_HEADERS = {
    COMMAND: _Header(3, 2, 1, 0xFF),
    ACL: _Header(4, 2, 2, 0xFFFF),
    SYNCHRONOUS: _Header(3, 2, 1, 0xFF),
    EVENT: _Header(2, 1, 1, 0xFF),
    ISO: _Header(4, 2, 2, 0x3FFF),
}
_NAMES = {COMMAND: "command", ACL: "ACL", SYNCHRONOUS: "synchronous", EVENT: "event", ISO: "ISO"}


_SHOWN, _SHOWN_TEXT = 8, 24  # octets of what is no packet


class NotH4(ValueError):
    """The stream is no H4; the text says what came instead. Nothing after it can be read."""


class Framer:
    """Cuts a stream into packets. `types` are those that this direction has, `longest` the octets that one may carry."""

    def __init__(self, types: frozenset[int], longest: int) -> None:
        self._types = types
        self._longest = longest
        self._waiting = bytearray()

    @property
    def is_inside(self) -> bool:
        """Whether a packet has begun and not ended."""
        return bool(self._waiting)

    def feed(self, data: bytes) -> Iterator[bytes]:
        """The packets that are complete now, each with its type. Raises NotH4 behind the last good one."""
        self._waiting += data
        while self._waiting:
            size = self._size()
            if size is None or len(self._waiting) < size:
                return
            packet = bytes(self._waiting[:size])
            del self._waiting[:size]
            yield packet

    def _size(self) -> int | None:
        """The size of the packet that has begun; None when its header is not complete."""
        kind = self._waiting[0]
        if kind not in self._types:
            raise NotH4(f"0x{kind:02X} is not a packet type ({_shown(self._waiting)})")
        header = _HEADERS[kind]
        if len(self._waiting) <= header.size:
            return None
        start = 1 + header.at
        length = int.from_bytes(self._waiting[start : start + header.octets], "little") & header.mask
        if length > self._longest and header.octets > 1:
            raise NotH4(f"{_a(_NAMES[kind])} packet of {length} bytes, where {self._longest} are the most")
        return 1 + header.size + length


def _shown(data: bytearray) -> str:
    """Octets as text where they are text: a log on the line is the commonest mistake."""
    text = bytes(data[:_SHOWN_TEXT])
    if len(text) > 1 and all(0x20 <= octet < 0x7F or octet in b"\t\r\n" for octet in text):
        return f"text: {text.decode('ascii')!r}"
    return f"bytes {text[:_SHOWN].hex(' ')}"


def _a(name: str) -> str:
    return f"{'an' if name[0] in 'AEIe' else 'a'} {name}"
