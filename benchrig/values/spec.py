"""How a format is written in a text file.

{as: sint16, scale: 0.01, unit: °C, valid_min: -273.15, words: {0x8000: not known}}

fields:
  - {name: flags, as: uint8, rfu: 0xF8, bits: {running: 0x04}}
  - {name: speed, as: uint16, scale: 1/256, unit: m/s}
  - {name: stride, as: uint16, scale: 0.01, unit: m, when: 0x01}
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any, ClassVar, Self

import msgspec

from benchrig.source.shape import Misfit, describe_value
from benchrig.values.base import Order

_EXACT = re.compile(r"[+-]?[0-9]{1,40}(\.[0-9]{1,40}|/[0-9]{1,40})?")
_RAW = re.compile(r"-?[0-9]{1,40}|0[xX][0-9A-Fa-f]{1,32}")
_FIELD = re.compile(r"[a-z][a-z0-9_]*")


class Exact(Fraction):
    """A number without rounding, written `0.01` or `'1/1024'`."""

    source_schema: ClassVar[dict[str, Any]] = {"type": ["number", "string"]}

    @classmethod
    def from_source(cls, value: Any) -> Self:
        is_number = isinstance(value, (int, Decimal, Fraction)) and not isinstance(value, bool)
        text = str(value) if is_number else value
        if not isinstance(text, str) or not _EXACT.fullmatch(text.replace(" ", "")):
            found = describe_value(value)
            raise Misfit(f"expected a number or a fraction, found {found}", "for example: 0.01, or 1/1024")
        try:
            return cls(text.replace(" ", ""))
        except ZeroDivisionError:
            raise Misfit(f"'{text}' divides by zero", "for example: 1/1024") from None


class Words(dict[int, str]):
    """Raw numbers and the words that stand for them: `{0: closed, 0xFFFF: not known}`."""

    source_schema: ClassVar[dict[str, Any]] = {"type": "object", "additionalProperties": {"type": "string"}}

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if not isinstance(value, dict) or not value:
            raise Misfit("expected raw numbers and their words", "for example: {0: closed, 1: open}")
        words = cls()
        for key, word in value.items():
            if not isinstance(word, str) or not word or re.match(r"[+-]?[0-9]", word):
                raise Misfit(
                    f"expected a word for {key}, found {describe_value(word)}",
                    "a word does not begin with a digit; quote true, false and null",
                    (key,),
                )
            words[raw_number(key)] = word
        return words


class BitPart(msgspec.Struct, frozen=True):
    """A named part of a number with flags: the bits under `mask`, in one run. Without words a single bit is true or
    false and several are a number; with words every legal value is listed."""

    mask: int
    words: Words | None = None


class BitParts(dict[str, BitPart]):
    """Named bits of a number: `{running: 0x04, contact: {mask: 0x06, words: {…}}}`."""

    source_schema: ClassVar[dict[str, Any]] = {"type": "object"}

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if not isinstance(value, dict) or not value:
            raise Misfit("expected names and their bits", "for example: {running: 0x04}")
        parts = cls()
        for name, part in value.items():
            try:
                check_field_name(name)
                parts[name] = _bit_part(part)
            except Misfit as misfit:
                raise Misfit(misfit.message, misfit.advice, (name, *misfit.path)) from misfit
        return parts


def _bit_part(value: Any) -> BitPart:
    if not isinstance(value, dict):
        return BitPart(_mask(value))
    if "mask" not in value or value.keys() - {"mask", "words"}:
        raise Misfit(
            "expected a mask, and words if there are any", "for example: {mask: 0x06, words: {0: closed, 1: open}}"
        )
    words = value.get("words")
    return BitPart(_mask(value["mask"]), None if words is None else Words.from_source(words))


def _mask(value: Any) -> int:
    mask = raw_number(value)
    run = mask >> ((mask & -mask).bit_length() - 1) if mask > 0 else 0
    if mask <= 0 or run & (run + 1):
        raise Misfit(f"expected a mask of one run of bits, found {describe_value(value)}", "for example: 0x06")
    return mask


def raw_number(value: Any) -> int:
    """A whole number, or its text as it stands in a key: '10', '0x0A'."""
    if isinstance(value, str) and _RAW.fullmatch(value):
        return int(value, 16) if value[:2] in ("0x", "0X") else int(value)
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    raise Misfit(f"expected a whole number, found {describe_value(value)}", "for example: 10, or 0x0A")


def check_field_name(name: Any) -> None:
    """Raise Misfit unless a limit could address the field as `value.name`."""
    if not isinstance(name, str) or not _FIELD.fullmatch(name):
        raise Misfit(
            f"{describe_value(name)} is no name for a field", "use lower-case letters, digits and _, a letter first"
        )


class FormatSpec(msgspec.Struct, kw_only=True, omit_defaults=True, frozen=True):
    """One format. `as_` is a format name or an assigned characteristic; `length` is in octets; the valid range is
    in the scaled value; bits under `rfu` must be 0; with `only_words` no value without a word is legal."""

    as_: str | None = msgspec.field(default=None, name="as")
    scale: Exact | None = None
    offset: Exact | None = None
    unit: str | None = None
    order: Order | None = None
    length: int | None = None
    valid_min: Exact | None = None
    valid_max: Exact | None = None
    words: Words | None = None
    only_words: bool | None = None
    bits: BitParts | None = None
    rfu: int | None = None
    fields: list[FieldSpec] | None = None

    def given(self) -> list[str]:
        """The keys of the format that are set, as they are written."""
        return [key for name, key in _format_keys() if getattr(self, name) is not None]

    def misfits(self) -> Iterable[Misfit]:
        # The other way round the formats need this module, so the import waits until it is used.
        from benchrig.values.format import build_format

        if self.given():
            try:
                build_format(self)
            except Misfit as misfit:
                yield misfit


@cache
def _format_keys() -> tuple[tuple[str, str], ...]:
    """The fields of a format and the keys that they are written with; asking msgspec evaluates every annotation."""
    return tuple((field.name, field.encode_name) for field in msgspec.structs.fields(FormatSpec))


class FieldSpec(FormatSpec, kw_only=True, omit_defaults=True, frozen=True):
    """A field of a structure. It is there when all bits of `when` are set in the field named `flags` and all bits
    of `unless` are clear. `list` takes all that is left as a list."""

    elsewhere: ClassVar[dict[str, str]] = {"repeat": "write 'list'"}

    name: str
    when: int = 0
    unless: int = 0
    list_: bool = msgspec.field(name="list", default=False)


def spec_from(data: Any) -> FormatSpec:
    """A spec from plain data such as JSON. Raises msgspec.ValidationError or Misfit."""
    return msgspec.convert(data, FormatSpec, dec_hook=lambda kind, value: kind.from_source(value))
