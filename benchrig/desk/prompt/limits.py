"""Values that were seen -> what a plan says about them: the value to write, limits on a reading, and a word on what
is not judged.

Whole numbers, words, texts and bytes are held to what they were. A measurement has noise, and so few values do not
show how much: its tolerance is a guess, 5 % of the value or ten steps of its format.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import ROUND_UP, Context, Decimal
from typing import TYPE_CHECKING, Any

from benchrig.errors import MalformedValue
from benchrig.source.writing import decimal_text
from benchrig.values.judging import difference_unit
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import exact, is_number, number_text

if TYPE_CHECKING:
    from benchrig.values.format import Format

SHARE = Decimal("0.05")
STEPS = 10
_TWO_DIGITS = Context(prec=2, rounding=ROUND_UP)
_LONGEST = 400


@dataclass
class Limits:
    """`by_reading` maps 'value', or 'value.field', to its limit; `remarks` say why there is none, or what is guessed."""

    setting: bool = False
    by_reading: dict[str, Any] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)


def written(value: Any, unit: str = "") -> Any:
    """A decoded value as a plan writes it: with its unit, bytes as hex text. None where it cannot be written."""
    if isinstance(value, bool):
        return value
    if isinstance(value, (bytes, bytearray)):
        return bytes(value).hex(" ").upper()
    if isinstance(value, str):
        return str(value) if len(value) <= _LONGEST else None
    if isinstance(value, list):
        items = [written(item, unit) for item in value]
        return None if None in items else items
    text = decimal_text(value) if is_number(value) else None
    if text is None:
        return None
    return f"{text} {unit}" if unit else Decimal(text)


def limits(form: Format | None, samples: Sequence[bytes], *, setting: bool = False) -> Limits:
    """Of one attribute, from all the bytes that it has had without being written; a setting is no measurement.
    MalformedValue where they do not fit the format."""
    made = Limits(setting)
    if form is None:
        _judge(made, "value", None, [*samples])
        return made
    values = [form.decode(data) for data in samples]
    leaves = form.leaves()
    if not leaves:
        _judge(made, "value", form, values)
        return made
    flat = [_flat(value) for value in values]
    for name, leaf in leaves.items():
        there = [value[name] for value in flat if name in value]
        if len(there) == len(flat):
            _judge(made, f"value.{name}", leaf, there)
    return made


def _flat(value: Any, prefix: str = "") -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for name, item in value.items():
        flat |= _flat(item, f"{prefix}{name}.") if isinstance(item, dict) else {f"{prefix}{name}": item}
    return flat


def _judge(made: Limits, name: str, leaf: Format | None, values: list[Any]) -> None:
    """Add the limit on one reading, or why it has none."""
    first, unit = values[0], leaf.unit if leaf else ""
    same = all(type(value) is type(first) and value == first for value in values)
    if leaf is not None and leaf.kind == "time":
        made.remarks.append(f"{name} is a time, which goes on: it is not judged")
    elif leaf is not None and not made.setting and _is_measured(leaf) and all(map(is_number, values)):
        _tolerate(made, name, leaf, values)
    elif not same:
        made.remarks.append(f"{name} changed by itself{_from_to(values, unit)}: it is not judged")
    elif (value := written(first, unit)) is not None:
        made.by_reading[name] = {"equals": value}
    else:
        made.remarks.append(f"{name} is nothing that a limit can be: it is not judged")


def _is_measured(leaf: Format) -> bool:
    """Whether a number of this format is one on a scale, rather than a count."""
    if isinstance(leaf, IntegerFormat):
        return leaf.scale.denominator != 1 or leaf.offset.denominator != 1
    return leaf.kind == "number"


def _tolerate(made: Limits, name: str, leaf: Format, values: list[Any]) -> None:
    low, high = (Decimal(repr(bound)) for bound in (min(values), max(values)))
    middle = (low + high) / 2
    step = exact(leaf.scale) if isinstance(leaf, IntegerFormat) else 0
    guess = max(
        abs(middle) * SHARE, Decimal(step.numerator) / Decimal(step.denominator) * STEPS if step else Decimal(0)
    )
    tolerance = _TWO_DIGITS.plus(max(guess, high - low) or Decimal(1))
    nominal, allowed = decimal_text(middle), decimal_text(tolerance)
    if nominal is None or allowed is None:
        made.remarks.append(f"{name} is nothing that a limit can be: it is not judged")
        return
    unit = leaf.unit
    around = difference_unit(unit)
    made.by_reading[name] = {
        "nominal": f"{nominal} {unit}" if unit else Decimal(nominal),
        "tolerance": f"{allowed} {around}" if around else Decimal(allowed),
    }
    seen = f"{len(values)} values" if len(values) > 1 else "one value"
    made.remarks.append(f"the tolerance of {name} is a guess from {seen}")


def _from_to(values: list[Any], unit: str) -> str:
    if not all(map(is_number, values)):
        return ""
    low, high = number_text(min(values)), number_text(max(values))
    return f", from {low} to {high}{f' {unit}' if unit else ''}"


def fits(form: Format | None, samples: Sequence[bytes]) -> str:
    """What is wrong with the bytes in this format, '' for nothing."""
    try:
        for data in samples if form else ():
            form.decode(data)  # type: ignore[union-attr]
    except MalformedValue as error:
        return error.message
    return ""
