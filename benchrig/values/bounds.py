"""What stands in a limit, in the terms of the reading it is held against."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any, TypeVar, cast

from benchrig.errors import MalformedValue
from benchrig.source.shape import Misfit, describe_value, octets
from benchrig.values.judging import typed
from benchrig.values.quantity import Quantity, as_number, exact, is_number, number_text
from benchrig.values.times import DateTimeFormat
from benchrig.values.units import BASE, UNITS, dimension_of

T = TypeVar("T")


def quantity(value: Any, unit: str, path: str) -> Fraction:
    """A bound in the reading's unit. Misfit for a bare number where there is one, and for another dimension."""
    return at(path, lambda: in_unit(typed(value), unit))


def in_unit(value: Any, unit: str) -> Fraction:
    if isinstance(value, str):
        value = Quantity.from_source(value)
    if isinstance(value, Quantity):
        if not unit:
            raise Misfit(f"{value} has a unit, the reading has none", f"write {number_text(value.number)}")
        return value.to(unit)
    if not is_number(value):
        expected = f"a quantity such as 5 {unit}" if unit else "a number"
        raise Misfit(f"expected {expected}, found {describe_value(value)}")
    if unit:
        raise Misfit(f"{number_text(value)} has no unit; the reading is measured in {unit}", add_unit(value, unit))
    return exact(value)


def add_unit(number: Any, unit: str) -> str:
    """Advice for a number without its unit: that of the reading, and the one that a person may have thought of."""
    written = [f"{number_text(number)} {each}" for each in dict.fromkeys((unit, str(BASE[dimension_of(unit)])))]
    return f"write {' or '.join(written)}" + (", as you mean it" if len(written) > 1 else "")


def number_or_word(value: Any, unit: str, path: str) -> int | float | str:
    """A word such as 'not known' stands in place of a number."""
    if isinstance(value, str) and not re.match(r"[+-]?[0-9]", value):
        return str(value)
    return as_number(quantity(value, unit, path))


def tolerance(value: Any, nominal: Fraction, unit: str) -> Fraction:
    """As a difference in the reading's unit. Percent is of the nominal, unless the reading itself is in percent."""
    value = typed(value)
    if isinstance(value, str):
        value = at("tolerance", lambda: Quantity.from_source(value))
    if isinstance(value, Quantity) and value.unit is UNITS["%"] and unit != "%":
        result = abs(nominal) * value.number / 100
    elif isinstance(value, Quantity) and unit:
        result = at("tolerance", lambda: value.difference_to(unit))
    else:
        result = quantity(value, unit, "tolerance")
    if result < 0:
        raise Misfit("a tolerance cannot be negative", "write it without the minus", ("tolerance",))
    return result


def point_in_time(value: Any, path: str) -> str:
    """A date and time as a reading has it: ISO 8601 with a 'T', a Word where a part of it is not known."""
    if not isinstance(value, str):
        raise Misfit(f"expected a date and time as text, found {describe_value(value)}", _TIME, (path,))
    form = DateTimeFormat()
    try:
        return cast("str", form.decode(form.encode(str(value))))
    except MalformedValue as error:
        raise Misfit(error.message, error.advice or _TIME, (path,)) from None


_TIME = "for example: '2026-12-25T14:05:30'"


def hex_bytes(value: Any, path: str) -> bytes:
    return bytes(value) if isinstance(value, (bytes, bytearray)) else at(path, lambda: octets(value))


def settled(value: Any) -> Any:
    """A value of the plan with its numbers as readings have them, however deep."""
    if isinstance(value, list):
        return [settled(item) for item in value]
    if isinstance(value, dict):
        return {key: settled(item) for key, item in value.items()}
    return as_number(exact(value)) if is_number(value) else value


def at(path: str, action: Callable[[], T]) -> T:
    """Run the action; a misfit in it belongs to the key `path`."""
    try:
        return action()
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice, (path, *misfit.path)) from misfit
