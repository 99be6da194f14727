"""Values of a record as they were when they were judged: bytes, words, quantities, which JSON does not tell apart."""

from __future__ import annotations

import contextlib
import re
from decimal import Decimal
from typing import Any

from benchrig.record.events import Reading
from benchrig.record.secrets import MASK
from benchrig.source.shape import LooseText
from benchrig.values.jsonable import MAX_VALUE
from benchrig.values.judging import Kind
from benchrig.values.quantity import Quantity, exact
from benchrig.values.units import unit_named
from benchrig.values.value import Word

_HEX = re.compile("(?:[0-9A-F]{2})+")
# Numbers that a function may return and JSON lacks: judged as numbers, kept as text.
_NO_NUMBERS: dict[Any, Any] = {str(each): each for each in (float("nan"), float("inf"), float("-inf"))} | {
    str(each): each for each in map(Decimal, ("NaN", "sNaN", "Infinity", "-Infinity"))
}


def value_of(reading: Reading, kind: Kind = "any") -> Any:
    """The value, as it is declared to be."""
    value = reading.value
    if isinstance(value, str):
        return _text(value, reading.raw, kind)
    return value


def _text(value: str, raw: str | None, kind: Kind) -> Any:
    if kind == "bytes" or (kind == "any" and raw is not None and raw == value):
        with contextlib.suppress(ValueError):
            return bytes.fromhex(value)
    if kind == "number" or (kind == "time" and "?" in value):
        return Word(value)
    return value


def possible_values(reading: Reading, kind: Kind = "any") -> list[Any]:
    """What it may have been, the likeliest first: of a value that nothing declares JSON may not tell it."""
    value, first = reading.value, value_of(reading, kind)
    if kind != "any" or not isinstance(first, str):
        return [first]
    found: list[Any] = [first]
    if value in _NO_NUMBERS:
        found.append(_NO_NUMBERS[value])
    if first and _HEX.fullmatch(first):
        found.append(bytes.fromhex(first))
    return found


def saved_value(reading: Reading, kind: Kind = "any", *, loose: bool = False) -> Any:
    """The value as `save` keeps it."""
    value = value_of(reading, kind)
    if loose and isinstance(value, str):
        return LooseText(value)
    if reading.unit and isinstance(value, (int, float)):
        return Quantity(exact(value), unit_named(reading.unit))
    return value


def is_whole(reading: Reading) -> bool:
    """Whether the record has all of the value: it keeps no secret, and of a long one the begin."""
    value = reading.value
    if isinstance(value, str):
        longest = 2 * MAX_VALUE if reading.raw == value else MAX_VALUE
        return value != MASK and len(value) < longest
    return not isinstance(value, list) or len(value) < MAX_VALUE
