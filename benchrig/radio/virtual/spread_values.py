"""Values of another unit in the place of those that a device file has: the same keys, other numbers and words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeAlias

import msgspec

from benchrig.errors import MalformedValue
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, ServiceSpec
from benchrig.radio.virtual.spread_spec import MOST_DIGITS, ValueSpreadSpec, numbered
from benchrig.radio.virtual.table_spec import by_name
from benchrig.radio.virtual.value_reading import (
    GENERATORS,
    at,
    difference_of,
    leaf_of,
    names_in,
    number_of,
    steps_of,
)
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.source.writing import decimal_text
from benchrig.values.base import Format

Services: TypeAlias = list[ServiceSpec]
# Another number in the place of one.
_Move: TypeAlias = Callable[[Any], Any]
# Digits of a number that its format does not round.
_DECIMALS, _LONGEST = 6, 12
# Draws that stand for all: deviations for a standard deviation, shares of the way for the rest.
_EXTREMES = (-4.0, 4.0)
_ENDS = (0.0, 1.0 - 1e-9)


def with_value(services: Services, entry: ValueSpreadSpec, draw: float) -> Services:
    """The services in which all values of the entry have what this draw means. Raises Misfit."""
    for index, name in enumerate(entry.of):
        services = _with_one(services, entry, name, draw, index)
    return services


def spread_misfits(services: Services, entries: Sequence[ValueSpreadSpec]) -> Iterable[Misfit]:
    """What is wrong for these services: each entry is tried with the ends of what it can be."""
    for index, entry in enumerate(entries):
        try:
            for draw in _tried(entry):
                with_value(services, entry, draw)
        except Misfit as misfit:
            yield Misfit(misfit.message, misfit.advice, (index, *misfit.path))


def _tried(entry: ValueSpreadSpec) -> Sequence[float]:
    if entry.one_of is not None:
        return [(place + 0.5) / len(entry.one_of) for place in range(len(entry.one_of))]
    if entry.text is not None:
        return (0.0, float(10 ** min(entry.digits, MOST_DIGITS) - 1))
    return _EXTREMES if entry.sd is not None else _ENDS


def _with_one(services: Services, entry: ValueSpreadSpec, name: str, draw: float, index: int) -> Services:
    spec, field = _found(services, name)
    form = spec.source.format
    if form is None or spec.value is None:
        raise Misfit(f"'{spec.called}' has no value of a format", "write 'value' in place of 'raw'", ("of",))
    changed = msgspec.structs.replace(spec, value=_replaced(spec.value, form, field, "", entry, draw))
    try:
        _ = changed.source
    except (Misfit, MalformedValue) as wrong:
        raise Misfit(f"'{name}' cannot be so: {wrong.message}", wrong.advice, (_key(entry),)) from wrong
    return [_exchanged(service, spec, changed) for service in services]


def _exchanged(service: ServiceSpec, old: CharacteristicSpec, new: CharacteristicSpec) -> ServiceSpec:
    if not any(each is old for each in service.characteristics):
        return service
    made = [new if each is old else each for each in service.characteristics]
    return msgspec.structs.replace(service, characteristics=made)


def _key(entry: ValueSpreadSpec) -> str:
    return next(key for key, value in (("sd", entry.sd), ("from", entry.from_), ("one_of", entry.one_of), ("text", entry.text))
                if value is not None)  # fmt: skip


def _found(services: Services, name: str) -> tuple[CharacteristicSpec, str]:
    """The characteristic and the field of this name."""
    named = by_name(services)
    if name in named:
        return named[name], ""
    for called, spec in named.items():
        if name.startswith(f"{called}."):
            field, leaves = name.removeprefix(f"{called}."), spec.format.leaves() if spec.format else {}
            if field not in leaves:
                raise Misfit(f"'{called}' has no field '{field}'", suggest(field, leaves), ("of",))
            return spec, field
    raise Misfit(f"this device has no characteristic '{name}'", suggest(name, named), ("of",))


def _replaced(value: Any, form: Format, field: str, at_field: str, entry: ValueSpreadSpec, draw: float) -> Any:
    """The value with another one in this field; '' is the whole."""
    rest = field.removeprefix(at_field).lstrip(".")
    if not rest:
        return _other(value, form, field, entry, draw)
    name = next((each for each in names_in(form, at_field) if rest == each or rest.startswith(f"{each}.")), rest)
    if not isinstance(value, dict) or name not in value:
        raise Misfit(f"the value does not say '{field}'", "write the field in 'value'", ("of",))
    inner = f"{at_field}.{name}" if at_field else name
    return {**value, name: _replaced(value[name], form, field, inner, entry, draw)}


def _other(value: Any, form: Format, field: str, entry: ValueSpreadSpec, draw: float) -> Any:
    if entry.one_of is not None:
        return entry.one_of[int(draw * len(entry.one_of))]
    if entry.text is not None:
        return numbered(entry.text, entry.digits, int(draw))
    leaf = leaf_of(form, field)
    if leaf is None or leaf.kind != "number":
        raise Misfit(f"'{field or entry.of[0]}' is not a number", "write one_of, or text", (_key(entry),))
    if entry.sd is not None:
        amount = at("sd", difference_of, entry.sd, form, field)
        if amount < 0:
            raise Misfit("a standard deviation is not negative", path=("sd",))
        return _moved(value, lambda one: _said(number_of(one, form, field) + Fraction(draw) * amount, leaf))
    low, high = (at(key, number_of, end, form, field) for key, end in (("from", entry.from_), ("to", entry.to)))
    if low > high:
        raise Misfit("from is above to", "exchange the two", ("from",))
    return _said(low + (high - low) * Fraction(draw), leaf)


def _said(number: Fraction, leaf: Format) -> Any:
    """As a device file has it; the nearest that the format carries."""
    nearest = steps_of(leaf).nearest(number)
    text = decimal_text(nearest)
    if text is None or len(text) > _LONGEST:
        text = decimal_text(round(nearest, _DECIMALS)) or "0"
    return f"{text} {leaf.unit}" if leaf.unit else int(text) if text.lstrip("-").isdigit() else Decimal(text)


def _moved(value: Any, move: _Move) -> Any:
    """A value, or what makes it, elsewhere: the numbers of a generator move together."""
    if not isinstance(value, dict):
        return move(value)
    word, inner = next(iter(value.items()), ("", {}))
    if word not in _MOVED:
        what = f"a {word}" if word in GENERATORS else "a value with fields"
        raise Misfit(f"{what} is not moved by a standard deviation", "name a field, or write from and to", ("sd",))
    return {word: _MOVED[word](inner, move)}


_MOVED: dict[Any, Callable[[Any, _Move], Any]] = {
    "constant": _moved,
    "noise": lambda inner, move: {**inner, "mean": move(inner["mean"])},
    "ramp": lambda inner, move: {**inner, "from": move(inner["from"]), "to": move(inner["to"])},
    "sequence": lambda inner, move: [_moved(each, move) for each in inner],
    "states": lambda inner, move: [{**each, "value": _moved(each["value"], move)} for each in inner],
}
