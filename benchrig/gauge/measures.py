"""Units of measure around a reading of a study: of what differs by it, and of what a person writes."""

from __future__ import annotations

import contextlib

from benchrig.errors import UsageError
from benchrig.source.shape import LooseText, Misfit
from benchrig.values.bounds import in_unit
from benchrig.values.judging import difference_unit, typed
from benchrig.values.quantity import is_number


def apart(measure: str) -> str:
    """The unit of a difference, a tolerance or a standard deviation: K of °C, dB of dBm."""
    if measure == "°C":
        return "K"
    with contextlib.suppress(Misfit):  # of a unit of the device's own
        return difference_unit(measure)
    return measure


def number_in(text: str, measure: str) -> float:
    """'21.4 °C', or a bare number in the unit of the reading. UsageError."""
    if is_number(bare := typed(LooseText(text))):
        return float(bare)
    try:
        return float(in_unit(text, measure))
    except Misfit as wrong:
        raise UsageError(f"'{text}': {wrong.message}", advice=wrong.advice) from wrong
