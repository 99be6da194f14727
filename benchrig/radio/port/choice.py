"""`--port` and `--start` text -> what to open."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass

from benchrig.errors import UsageError

_TCP = re.compile(r"(?:\[(?P<six>[0-9A-Fa-f:.%\w]+)\]|(?P<host>[^:\[\]]+)):(?P<port>\d{1,5})")
_EXAMPLE = "--port tcp:127.0.0.1:9001, or --port pty:./dut"


@dataclass(frozen=True)
class PortChoice:
    """A port that has been named but not opened. `kind` is 'tcp' with `host` and `number` (0: any that is free) or
    'pty' with the `path` of the link to make. `start` are the words of a program to run beside it, () for none; what
    says {port} in them becomes the port's address."""

    kind: str
    host: str = ""
    number: int = 0
    path: str = ""
    start: tuple[str, ...] = ()

    @classmethod
    def parse(cls, text: str, start: str = "") -> PortChoice:
        """Raises UsageError for text that names no port, or no program."""
        kind, _, place = text.partition(":")
        words = _words(start)
        if kind == "tcp" and (match := _TCP.fullmatch(place)) and int(match["port"]) < 65536:
            return cls("tcp", host=match["six"] or match["host"], number=int(match["port"]), start=words)
        if kind == "pty" and place:
            if os.name != "posix":
                raise UsageError("this system has no pseudo terminals", advice="use --port tcp:127.0.0.1:9001")
            return cls("pty", path=place, start=words)
        raise UsageError(f"'{text}' names no port", advice=f"for example: {_EXAMPLE}")

    def __str__(self) -> str:
        if self.kind == "pty":
            return f"pty:{self.path}"
        return f"tcp:[{self.host}]:{self.number}" if ":" in self.host else f"tcp:{self.host}:{self.number}"


def parse_ports(ports: Sequence[str], starts: Sequence[str]) -> tuple[PortChoice, ...]:
    """The ports with their programs: the first program is for the first port, and so on. Raises UsageError."""
    if len(starts) > len(ports):
        raise UsageError(
            f"{len(starts)} programs to start, but {len(ports)} ports",
            advice=f"give each its own port: {_EXAMPLE}",
        )
    chosen = tuple(
        PortChoice.parse(text, start) for text, start in zip(ports, [*starts, *[""] * len(ports)], strict=False)
    )
    places = [str(choice) for choice in chosen if choice.number or choice.path]
    if twice := next((place for place in places if places.count(place) > 1), None):
        raise UsageError(f"the port {twice} appears twice")
    return chosen


def _words(command: str) -> tuple[str, ...]:
    try:
        return tuple(shlex.split(command))
    except ValueError as exc:
        raise UsageError(f"--start '{command}' cannot be read: {exc}", advice="check the quotes") from exc
