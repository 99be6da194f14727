"""A field for people, where a number alone says little: an appearance has a name, a system ID is written in hex."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchrig.text.escape import plain, with_unit
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


def structure_text(value: Mapping[str, Any], units: Mapping[str, str], of: str = "") -> str:
    """All fields on one line; `of` begins the names that their units have."""
    return ", ".join(f"{plain(key)} {field_text(key, item, units.get(of + key, ''))}" for key, item in value.items())


def structure_lines(value: Mapping[str, Any], units: Mapping[str, str]) -> list[str]:
    """A line a field; of a structure that repeats a line each time, with its fields."""
    lines = []
    for key, item in value.items():
        if isinstance(item, list) and item and all(isinstance(part, dict) for part in item):
            parts = enumerate(structure_text(part, units, f"{key}.") for part in item)
            lines += [f"{plain(key)}[{number}]: {text}" for number, text in parts]
        else:
            lines.append(f"{plain(key)}: {field_text(key, item, units.get(key, ''))}")
    return lines
