"""Values as JSON data for a record or a document, bounded in size; computed numbers and moments as they stand there."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

# Bounds what a device can make a run keep: characters of a text, items of a list, bytes of a value.
MAX_VALUE = 4096


def tidy(number: float) -> float:
    """A computed number without the digits that are only rounding noise."""
    return float(f"{number:.10g}")


def jsonable(value: Any) -> Any:
    """A value as JSON data, bounded: bytes as hex text, words as text, numbers that JSON lacks as text."""
    if isinstance(value, (bytes, bytearray)):
        return hex_text(bytes(value))
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, str):
        return str(value)[:MAX_VALUE]
    if isinstance(value, dict):
        return {str(key): jsonable(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [jsonable(item) for item in value[:MAX_VALUE]]
    if value is None or isinstance(value, (bool, int, float)):
        return value
    return str(value)[:MAX_VALUE]


def hex_text(data: bytes) -> str:
    return bytes(data[:MAX_VALUE]).hex().upper()


def moment_text(moment: datetime) -> str:
    """Date and time in UTC, ISO 8601 to the millisecond."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
