"""Values of a story in the words of a device file."""

from __future__ import annotations

from decimal import Decimal

from benchrig.errors import MalformedValue
from benchrig.source.writing import Bare, Quoted, decimal_text
from benchrig.values.base import said
from benchrig.values.catalogue import att_error_name, definition


def time_text(seconds: float, digits: int = 6) -> str:
    """Rounded to so many digits of a second: '20.5 ms', '3 s'."""
    value = round(Decimal(repr(max(0.0, seconds))), digits)
    number, unit = (value * 1000, "ms") if 0 < value < 1 else (value, "s")
    return f"{decimal_text(number)} {unit}"


def hex_text(octets: bytes) -> str:
    return Quoted(octets.hex(" ").upper())


def error_text(code: int) -> str:
    name = att_error_name(code)
    return Bare(f"0x{code:02X}") if name.endswith(f"0x{code:02x}") else name


def decoded(uuid: str, value: bytes) -> str:
    """What the value means where its format is known; ''."""
    form = definition(uuid)
    if form is None:
        return ""
    try:
        found = form.decode(value)
    except MalformedValue as exc:
        return exc.message
    return found if isinstance(found, str) else f"{said(found)} {form.unit}".strip()
