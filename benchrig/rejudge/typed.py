"""Values of a record as they were when they were judged: bytes, words, quantities, which JSON does not tell apart."""

from __future__ import annotations

import contextlib
from typing import Any

from benchrig.record.events import Reading
from benchrig.record.secrets import MASK
from benchrig.values.jsonable import MAX_VALUE
from benchrig.values.judging import Kind
from benchrig.values.quantity import Quantity, exact
from benchrig.values.units import unit_named
from benchrig.values.value import Word


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


def saved_value(reading: Reading, kind: Kind = "any") -> Any:
    """The value as `save` keeps it."""
    value = value_of(reading, kind)
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
