"""Advertising payloads, structure by structure.

A payload is a row of structures: length (counts type and data), type, data. A zero length ends the part that means
something, and only zeros may follow. A structure that runs past the end is malformed, and nothing in it is read.
(Core specification Vol 3 Part C 11; Core Specification Supplement, Part A.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

from benchrig.values.advertising_data import Reading, appearance_name, read_data, type_name, uuid_text
from benchrig.values.base import count_bytes

__all__ = ["EARLY_END", "AdField", "Split", "Structure", "appearance_name", "parse_payload", "split", "uuid_text"]

# The name of what follows a length of zero; it has no type of its own (0 here).
EARLY_END = "early end"


class Structure(NamedTuple):
    kind: int
    data: bytes


class Split(NamedTuple):
    """`rest` is what stands in the payload but is no whole structure; b'' in a sound payload."""

    structures: list[Structure]
    rest: bytes


@dataclass(frozen=True)
class AdField:
    """One structure of a payload.

    `offset` and `length` in octets, the length octet of the structure included: the fields tile the payload. `type` is
    the assigned number and `name` its name ('' for none). `value` is JSON data: UUIDs as 128-bit text, octets as hex
    text; None where nothing could be read. `text` says it to people, with units. `raw` are the octets of the data.
    `wrong` says what is malformed or reserved, '' for nothing.
    """

    offset: int
    length: int
    type: int
    name: str
    value: Any
    text: str
    raw: bytes
    wrong: str = ""


def split(payload: bytes) -> Split:
    """The structures of a payload, up to an early end or to the first one that runs past the end."""
    structures: list[Structure] = []
    at = 0
    while at < len(payload) and payload[at]:
        end = at + 1 + payload[at]
        if end > len(payload):
            return Split(structures, payload[at:])
        structures.append(Structure(payload[at + 1], payload[at + 2 : end]))
        at = end
    return Split(structures, b"")


def parse_payload(data: bytes) -> list[AdField]:
    """The fields of an advertising payload or a scan response, of any length. Never raises."""
    structures, rest = split(data)
    fields: list[AdField] = []
    at = 0
    for kind, said in structures:
        fields.append(_field(at, kind, said, read_data(kind, said)))
        at += 2 + len(said)
    if rest:
        fields.append(_cut_short(at, rest))
    elif at < len(data):
        fields.append(_early_end(at, data[at:]))
    return fields


def _field(offset: int, kind: int, data: bytes, reading: Reading) -> AdField:
    return AdField(offset, 2 + len(data), kind, type_name(kind) or "", reading.value, reading.text, data, reading.wrong)


def _cut_short(offset: int, rest: bytes) -> AdField:
    """The structure whose length octet says more than there is."""
    there = len(rest) - 1
    kind = rest[1] if there else 0
    wrong = f"the structure runs past the end: {count_bytes(rest[0])} announced, {there} there"
    return AdField(offset, len(rest), kind, type_name(kind) or "", None, "", rest[2:], wrong)


def _early_end(offset: int, rest: bytes) -> AdField:
    after = rest[1:]
    wrong = (
        f"bytes that are not 0 after the early end, from offset {_first(after, offset + 1)} on" if any(after) else ""
    )
    return AdField(offset, len(rest), 0, EARLY_END, None, f"{count_bytes(len(after))} of padding", after, wrong)


def _first(octets: bytes, offset: int) -> int:
    return offset + next(at for at, octet in enumerate(octets) if octet)
