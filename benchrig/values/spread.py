"""How far values lie apart, in the unit that measures a difference of them: dB between levels, ΔK between temperatures."""

from __future__ import annotations

from benchrig.values.quantity import Quantity, as_number, exact
from benchrig.values.units import unit_named


def spread(low: float, high: float, unit: str) -> tuple[float, str]:
    """The larger less the smaller, exactly, and its unit."""
    if not unit:
        return as_number(exact(high) - exact(low)), ""
    least, most = (Quantity(exact(value), unit_named(unit)) for value in (low, high))
    difference = most - least
    return as_number(difference.number), difference.unit.symbol
