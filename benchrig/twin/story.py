"""What happened between a bench and a device in one run, one act after the other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from benchrig.desk.paths import Place

What: TypeAlias = Literal["read", "write", "connect", "disconnect", "restart", "power", "line", "silence", "pair"]


@dataclass(frozen=True)
class Answer:
    """What was sent back: in pieces of which the record keeps the joined value alone where `pieces` is said; `after` the
    write, in seconds."""

    place: Place
    data: bytes
    after: float = 0.0
    # octets of the header of each piece, and how the last one begins; '' where a single value answers
    skip: int = 0
    last: bytes = b""


@dataclass(frozen=True)
class Act:
    """`at` is when it was over, in seconds since the run began; `where` says so to people. `since`: an answer that was waited
    for by asking again and again, from when on; other ones came before it."""

    what: What
    at: float
    where: str
    place: Place | None = None
    data: bytes | None = None
    error: str = ""
    since: float | None = None
    answers: tuple[Answer, ...] = ()
    # how the link ended in it: after so long, and why
    lost_after: float | None = None
    lost_reason: str = ""
    # whether it ended in place of an answer
    unanswered: bool = False
    # until it was heard again
    away: float | None = None
    # of the console: what was sent, what came, and how long after what was before
    sent: str | None = None
    line: str = ""
    # of a pairing: the keys of the step and what it came to
    asked: dict[str, object] = field(default_factory=dict)
    found: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Story:
    """One run from the moment that the device was switched on, or later."""

    source: str
    acts: tuple[Act, ...]

    def of(self, what: What) -> Iterator[Act]:
        return (act for act in self.acts if act.what == what)
