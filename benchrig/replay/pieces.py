"""One long answer, as a plan has joined it, in notifications again. How it was cut is on no record: this is a guess."""

from __future__ import annotations

from benchrig.steps.answers import Answers
from benchrig.steps.payload import hex_bytes

# Of a notification on a link without a larger MTU.
USUAL = 20


def pieces_of(value: bytes, answers: Answers, count: int | None, starts_with: bytes) -> list[bytes]:
    """As many as arrived, where that is known; the last one is what the plan takes for the last."""
    room = max(1, USUAL - answers.skip)
    short = answers.last.shorter_than
    if short is not None:
        room = max(1, (short.number or USUAL) - answers.skip)
    elif count or answers.last.count:
        room = max(1, -(-len(value) // (count or answers.last.count or 1)))
    parts = [value[at : at + room] for at in range(0, len(value), room)] or [b""]
    if short is not None and len(parts[-1]) == room:
        parts.append(b"")
    wanted = count or answers.last.count or len(parts)
    parts += [b""] * (wanted - len(parts))
    made = [_header(answers, index, starts_with, index == len(parts) - 1) + part for index, part in enumerate(parts)]
    return [*made, hex_bytes(answers.last.equals)] if answers.last.equals else made


def _header(answers: Answers, index: int, starts_with: bytes, is_last: bool) -> bytes:
    mark = hex_bytes(answers.last.starts_with) if answers.last.starts_with and is_last else starts_with
    header = bytearray(mark[: answers.skip].ljust(answers.skip, b"\0"))
    if answers.counter is not None:
        header[answers.counter] = index % 256
    return bytes(header)
