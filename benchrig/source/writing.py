"""The other way round: values -> text that the strict reader of YAML takes for just these values.

Whatever a text holds, it stays one scalar on one line. In a plan's steps `${…}` and `$$` have a meaning: text from
elsewhere goes through `literal` there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import Context, Decimal
from fractions import Fraction
from typing import Any

from benchrig.source.yaml import plain_scalar

# The digits on either side of the point that a quantity may have.
MOST_DIGITS = 40
_EXACT = Context(prec=100)
# Needs no quotes, within brackets either; what other readers of YAML would take for more is left to plain_scalar.
_BARE = re.compile(
    r"[A-Za-z0-9_°µΩ](?:[A-Za-z0-9_°µΩ²³./%+() -]*[A-Za-z0-9_°µΩ²³./%)])?"
    r"|[+-][0-9][0-9.]*(?: [A-Za-z°µΩ%][A-Za-z0-9°µΩ²³./%]*)?"
)


def literal(text: str) -> str:
    """Text in which no reference is found by a plan."""
    return text.replace("$", "$$")


class Bare(str):
    """A number or quantity as text, written as it is."""

    __slots__ = ()


class Quoted(str):
    """Text in quotes, whatever it would be without them: bytes, addresses."""

    __slots__ = ()


def decimal_text(number: float | Decimal | Fraction) -> str | None:
    """A number without an exponent, exactly as it prints, a fraction without loss; None when it is none or needs more
    than 40 digits on one side of the point."""
    if isinstance(number, Fraction):
        value = _decimal(number)
        if value is None:
            return None
    else:
        value = Decimal(repr(number)) if isinstance(number, float) else Decimal(number)
    if not value.is_finite():
        return None
    text = f"{value:f}"
    whole, _, part = text.lstrip("-").partition(".")
    part = part.rstrip("0")
    if len(whole) > MOST_DIGITS or len(part) > MOST_DIGITS:
        return None
    sign = "-" if text.startswith("-") and (whole.strip("0") or part) else ""
    return f"{sign}{whole}.{part}" if part else f"{sign}{whole}"


def _decimal(number: Fraction) -> Decimal | None:
    """The same number; None when no decimal with few enough places is."""
    for places in range(MOST_DIGITS + 1):
        if (number * 10**places).denominator == 1:
            return Decimal(int(number * 10**places)).scaleb(-places, _EXACT)
    return None


def scalar(value: Any) -> str:
    """A single value: null, true, false, a number, text. ValueError for a number that cannot be written."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Bare):
        return str(value)
    if isinstance(value, Quoted):
        return _quoted(str(value))
    if isinstance(value, str):
        return _text(str(value))
    text = decimal_text(value)
    if text is None:
        raise ValueError(f"{value} cannot be written as a decimal number")
    return text


def flow(value: Any) -> str:
    """A value on one line: `{min: 20 %, one_of: [B, C]}`."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{scalar(key)}: {flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, Iterable) and not isinstance(value, str):
        return "[" + ", ".join(map(flow, value)) + "]"
    return scalar(value)


def _text(text: str) -> str:
    return text if _BARE.fullmatch(text) and plain_scalar(text) == text else _quoted(text)


def _quoted(text: str) -> str:
    if text.isprintable():
        return "'" + text.replace("'", "''") + "'"
    return '"' + "".join(map(_escaped, text)) + '"'


def _escaped(character: str) -> str:
    if character in '"\\':
        return f"\\{character}"
    if character.isprintable():
        return character
    # half of a surrogate pair is no character: no text of a plan can have it
    code = 0xFFFD if "\ud800" <= character <= "\udfff" else ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
