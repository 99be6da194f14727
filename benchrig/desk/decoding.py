"""Bytes that somebody has at hand, taken apart: a value, an advertising payload, a presentation format."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.text.field import field_text
from benchrig.values import catalogue
from benchrig.values.advertising import AdField, parse_payload
from benchrig.values.explain import Piece, explain
from benchrig.values.format import Format
from benchrig.values.jsonable import jsonable
from benchrig.values.presentation import PRESENTATION_FORMAT, meaning_of


@dataclass(frozen=True)
class DecodedPiece:
    """One piece for people: `name` may be '', `where` names bits, `wrong` stands in place of the text."""

    offset: int
    raw: bytes
    name: str
    text: str
    wrong: str = ""
    where: str = ""


@dataclass(frozen=True)
class Decoded:
    """What bytes say: `lines` in their order, all in one line as `said`, and the same as a JSON `document`. `outcome`
    is what they come to together, '' for nothing more."""

    lines: list[DecodedPiece]
    said: str
    document: dict[str, Any] = field(default_factory=dict)
    outcome: str = ""

    @property
    def wrong(self) -> list[str]:
        """What does not fit, with its offset."""
        return [f"{_named(line.name)}offset {line.offset}: {line.wrong}" for line in self.lines if line.wrong]


def decode_value(form: Format, data: bytes) -> Decoded:
    """A value in a format."""
    pieces = explain(form, data)
    lines = [_line(piece, _text(piece)) for piece in pieces]
    document: dict[str, Any] = {"raw": data.hex().upper(), "format": form.describe()}
    if not any(piece.wrong for piece in pieces):
        document["value"] = jsonable(form.decode(data))
    if form.unit:
        document["unit"] = form.unit
    return _decoded(lines, document | {"fields": [_field_of(piece) for piece in pieces]})


def decode_presentation(data: bytes) -> Decoded:
    """A Characteristic Presentation Format descriptor itself, with what its numbers stand for."""
    form = catalogue.definition(PRESENTATION_FORMAT)
    assert form is not None
    pieces = explain(form, data)
    lines = [_line(piece, meaning_of(piece.name, piece.value)) for piece in pieces]
    fields = [
        _field_of(piece) | ({} if piece.wrong else {"text": line.text})
        for piece, line in zip(pieces, lines, strict=True)
    ]
    document: dict[str, Any] = {"raw": data.hex().upper()}
    try:
        described = catalogue.format_from_presentation(data).describe()
    except MalformedValue as error:
        if not any(line.wrong for line in lines):
            lines[0] = DecodedPiece(0, lines[0].raw, lines[0].name, "", error.message)
            fields[0]["wrong"] = error.message
        return _decoded(lines, document | {"fields": fields})
    return replace(_decoded(lines, document | {"describes": described, "fields": fields}), outcome=described)


def decode_payload(data: bytes) -> Decoded:
    """An advertising payload or a scan response."""
    found = parse_payload(data)
    lines = [DecodedPiece(each.offset, data[each.offset : each.offset + each.length], _kind(each), each.text, each.wrong) for each in found]  # fmt: skip
    return _decoded(lines, {"raw": data.hex().upper(), "fields": [_structure_of(each) for each in found]})


def _decoded(lines: list[DecodedPiece], document: dict[str, Any]) -> Decoded:
    plain = [line for line in lines if not line.where]
    said = ", ".join(f"{line.name} {line.text}" if line.name else line.text for line in plain)
    made = Decoded(lines, said, document)
    if made.wrong:
        document["wrong"] = made.wrong
    return made


def _text(piece: Piece) -> str:
    return field_text(piece.name, jsonable(piece.value), piece.unit)


def _line(piece: Piece, text: str) -> DecodedPiece:
    where = f"bits 0x{piece.mask:0{2 * piece.length}X}" if piece.mask else ""
    return DecodedPiece(piece.offset, piece.raw, piece.name, text, piece.wrong, where)


def _field_of(piece: Piece) -> dict[str, Any]:
    made: dict[str, Any] = {
        "name": piece.name,
        "offset": piece.offset,
        "length": piece.length,
        "raw": piece.raw.hex().upper(),
    }
    if piece.mask:
        made["mask"] = piece.mask
    return made | ({"wrong": piece.wrong} if piece.wrong else {"value": jsonable(piece.value), "unit": piece.unit})


def _structure_of(each: AdField) -> dict[str, Any]:
    made = {"name": each.name, "type": each.type, "offset": each.offset, "length": each.length,
            "raw": each.raw.hex().upper(), "value": each.value, "text": each.text}  # fmt: skip
    return made | ({"wrong": each.wrong} if each.wrong else {})


def _kind(each: AdField) -> str:
    return each.name or f"type 0x{each.type:02X}"


def _named(name: str) -> str:
    return f"{name}, " if name else ""
