"""What the keys of a format take: exact numbers, words, bits, names of fields."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar, Self

import msgspec

from benchrig.source.shape import Misfit, describe_value

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
                advice = "a word does not begin with a digit; quote true, false and null"
                if isinstance(key, str) and isinstance(word, int):
                    advice = f"write the number first: {{{word}: {key}}}"
                raise Misfit(f"expected a word for {key}, found {describe_value(word)}", advice, (key,))
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
            f"{describe_value(name)} cannot be the name of a field",
            "use lower-case letters, digits and _, a letter first",
        )
