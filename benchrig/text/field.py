"""A field for people, where a number alone says little: an appearance has a name, a system ID is written in hex."""

from __future__ import annotations

from typing import Any

from benchrig.text.escape import with_unit
from benchrig.values.advertising import appearance_name

# Fields of the system ID, and how many hex digits they have (Device Information Service, 3.9).
_IN_HEX = {"manufacturer_id": 10, "organization_id": 6}


def field_text(name: str, value: Any, unit: str) -> str:
    """The value with its unit."""
    if type(value) is int and name == "appearance":
        return f"{value} ({appearance_name(value) or 'not assigned'})"
    if type(value) is int and name in _IN_HEX:
        return f"0x{value:0{_IN_HEX[name]}X}"
    return with_unit(value, unit)
