"""`--console` text -> where the console is; needs no library."""

from __future__ import annotations

import re
from dataclasses import dataclass

from benchrig.errors import UsageError

_SERIAL = re.compile(r"(?P<path>[^,]+)(?:,(?P<speed>[0-9]{1,8}))?")
_TCP = re.compile(r"(?:\[(?P<six>[0-9A-Fa-f:.%\w]+)\]|(?P<host>[^:\[\]]+)):(?P<port>[0-9]{1,5})")
EXAMPLE = "serial:/dev/ttyUSB0,115200, or tcp:127.0.0.1:4000"
SPEED = 115200


@dataclass(frozen=True)
class ConsoleChoice:
    """A console that has been named but not opened: 'serial' with `place` (a port) and `number` (bits per second), or 'tcp'
    with `place` (a host) and `number` (a port)."""

    kind: str
    place: str
    number: int

    @classmethod
    def parse(cls, text: str) -> ConsoleChoice:
        """Raises UsageError for text that names no console."""
        kind, _, place = text.partition(":")
        if kind == "serial" and (match := _SERIAL.fullmatch(place)):
            return cls("serial", match["path"], int(match["speed"] or SPEED))
        if kind == "tcp" and (match := _TCP.fullmatch(place)) and 0 < int(match["port"]) < 65536:
            return cls("tcp", match["six"] or match["host"], int(match["port"]))
        raise UsageError(f"'{text}' names no console", advice=f"for example: {EXAMPLE}")

    def __str__(self) -> str:
        if self.kind == "serial":
            return f"serial:{self.place},{self.number}"
        return f"tcp:[{self.place}]:{self.number}" if ":" in self.place else f"tcp:{self.place}:{self.number}"
