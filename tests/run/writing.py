"""Python values as a plan writes them."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any


def written(value: Any, unit: str = "") -> str:
    """In flow style: text quoted, numbers without exponent and with their unit."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return f"{Decimal(repr(value)):f}" + (f" {unit}" if unit else "")
    if isinstance(value, list):
        return "[" + ", ".join(written(item, unit) for item in value) + "]"
    return "'" + str(value).replace("'", "''") + "'"


def written_fields(values: Mapping[str, Any], units: Mapping[str, str]) -> str:
    return "{" + ", ".join(f"{name}: {written(value, units.get(name, ''))}" for name, value in values.items()) + "}"
