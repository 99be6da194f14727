"""What a function of a plan returned -> readings, or what is wrong with it."""

from __future__ import annotations

import inspect
import numbers
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, NamedTuple, TypeAlias

from benchrig.errors import UsageError
from benchrig.source.shape import Misfit
from benchrig.values.quantity import Quantity, as_number, exact, is_number

Number: TypeAlias = int | float | Decimal | Fraction
# What a function may return, and what a mapping of readings may hold.
Value: TypeAlias = "Number | Quantity | str | bytes | bool | Sequence[Value] | Mapping[str, Value] | None"

# Bounds of what a function may return.
_DEEPEST, _MOST_DIGITS = 16, 1000
_ADVICE = "return a number, a Quantity, text, bytes, true or false, or a list or mapping of these"


class Returned(NamedTuple):
    """One reading as steps give it."""

    name: str
    value: Any
    unit: str


def readings_of(result: Any, returned: str) -> Iterator[Returned]:
    """The readings of a result. `returned` begins a sentence about it: 'rig:measure returned'. UsageError for what no
    limit could judge."""
    if result is None:
        return
    if isinstance(result, Mapping):
        yield from _of_mapping(result, returned, "", 0)
    else:
        yield _reading("value", result, returned)


def _of_mapping(result: Mapping[Any, Any], returned: str, prefix: str, deep: int) -> Iterator[Returned]:
    """A mapping in a mapping is a structure: its readings have dotted names, as the fields of an attribute."""
    if deep > _DEEPEST:
        raise UsageError(f"{returned} mappings in mappings, deeper than {_DEEPEST}")
    for key, value in result.items():
        if isinstance(value, Mapping):
            yield from _of_mapping(value, returned, f"{prefix}{key}.", deep + 1)
        else:
            yield _reading(f"{prefix}{key}", value, returned)


def _reading(name: str, value: Any, returned: str) -> Returned:
    if isinstance(value, Quantity):
        return Returned(name, as_number(value.number), value.unit.symbol)
    if isinstance(value, (list, tuple)) and any(isinstance(item, Quantity) for item in value):
        return _quantities(name, value, returned)
    return Returned(name, _plain(value, returned, name), "")


def _quantities(name: str, values: Sequence[Any], returned: str) -> Returned:
    """A list of them is a list of numbers in the unit of the first one."""
    unit = next(item.unit.symbol for item in values if isinstance(item, Quantity))
    bare = next((item for item in values if not isinstance(item, Quantity)), None)
    if bare is not None:
        raise UsageError(f"{returned} a list for '{name}' in which {bare!r} has no unit", advice=f"write it in {unit}")
    try:
        return Returned(name, [as_number(item.to(unit)) for item in values], unit)
    except Misfit as misfit:
        raise UsageError(f"{returned} a list for '{name}': {misfit.message}", advice="return a list each") from misfit


def _plain(value: Any, returned: str, name: str, deep: int = 0) -> Any:
    """The value as readings have it; numbers of every kind are numbers."""
    if deep > _DEEPEST:
        raise UsageError(f"{returned} lists in lists for '{name}', deeper than {_DEEPEST}")
    if hasattr(type(value), "tolist") and not isinstance(value, memoryview):
        value = value.tolist()  # numpy's numbers and arrays
    if isinstance(value, (bool, str, bytes, bytearray)) or value is None:
        return value
    if is_number(value) or isinstance(value, numbers.Integral):
        return _number(value, returned, name)
    if isinstance(value, (numbers.Real, Decimal)):
        # a signaling NaN has no float
        return float("nan") if isinstance(value, Decimal) and value.is_nan() else float(value)
    if isinstance(value, (list, tuple)):
        return [_plain(item, returned, name, deep + 1) for item in value]
    raise _refused(value, returned, name)


def _number(value: Any, returned: str, name: str) -> int | float:
    if _is_huge(value):
        raise UsageError(f"{returned} a number of more than {_MOST_DIGITS} digits for '{name}'")
    return as_number(exact(int(value) if isinstance(value, numbers.Integral) else value))


def _is_huge(value: Any) -> bool:
    """Whether the number would be written with more digits than anything reads."""
    if isinstance(value, Decimal):
        return abs(value.adjusted()) > _MOST_DIGITS
    parts = (value.numerator, value.denominator) if isinstance(value, numbers.Rational) else ()
    return any(int(part).bit_length() > _MOST_DIGITS * 3 for part in parts)


def _refused(value: Any, returned: str, name: str) -> UsageError:
    advice = _ADVICE
    if inspect.iscoroutine(value):
        value.close()
        advice = "write async def, and await in front of what waits"
    elif isinstance(value, Mapping):
        advice = "return the mapping itself, not in a list"
    elif hasattr(value, "isoformat"):
        advice = "return a time as text: add .isoformat()"
    return UsageError(f"{returned} {type(value).__name__} for '{name}'", advice=advice)
