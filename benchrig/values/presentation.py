"""What the fields of a Characteristic Presentation Format descriptor (0x2904) stand for.

Core specification Vol 3 Part G 3.3.3.5; names of places: Bluetooth SIG assigned numbers, namespace, 2026 edition.
"""

from __future__ import annotations

from collections.abc import Callable

from benchrig.values.assigned import assigned
from benchrig.values.catalogue import normal_uuid
from benchrig.values.value import Value

PRESENTATION_FORMAT = normal_uuid("2904")

_PLACES = ("front", "back", "top", "bottom", "upper", "lower", "main", "backup", "auxiliary", "supplementary", "flash",
           "inside", "outside", "left", "right", "internal", "external")  # fmt: skip
_FIRST_PLACE = 0x0100


def meaning_of(field: str, value: Value) -> str:
    """A field of the descriptor for people, by its name in the definition of 0x2904."""
    meaning = _MEANINGS.get(field)
    return str(value) if meaning is None or not isinstance(value, int) else meaning(value)


def _format(code: int) -> str:
    return assigned().presentation_formats.get(f"{code:02X}", "reserved")


def _exponent(exponent: int) -> str:
    return f"× 10^{exponent}" if exponent else "× 1"


def _unit(number: int) -> str:
    symbol = assigned().units.get(f"{number:04X}")
    shown = "no unit" if symbol == "" else symbol or "without a symbol here"
    return f"{shown} (0x{number:04X})"


def _namespace(number: int) -> str:
    return "Bluetooth SIG" if number == 1 else f"reserved (0x{number:02X})"


def _description(number: int) -> str:
    """Which one of several it is."""
    if number == 0:
        return "unknown"
    if number < _FIRST_PLACE:
        return f"number {number}"
    place = number - _FIRST_PLACE
    return _PLACES[place] if place < len(_PLACES) else f"reserved (0x{number:04X})"


_MEANINGS: dict[str, Callable[[int], str]] = {
    "format": _format,
    "exponent": _exponent,
    "unit": _unit,
    "namespace": _namespace,
    "description": _description,
}
