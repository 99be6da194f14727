"""Values and generators of a device file -> patterns.

21.5 °C                                    a constant; a unit where the format has one
{constant: 21.5 °C}                        the same
{ramp: {from: 4 °C, to: 8 °C, over: 60 s}}
{noise: {mean: 4 °C, sd: 0.1 °C}}
{counter: {start: 0, step: 1, modulo: 65536}}
{sequence: [1 °C, 2 °C]}
{flags: 0, heart_rate: {noise: …}}         a structure: each field a value or generator
[1, 2]                                     a list
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from benchrig.errors import MalformedValue
from benchrig.radio.virtual.sources import (
    Constant,
    Counter,
    Cycle,
    Fields,
    Items,
    Noise,
    Pattern,
    Ramp,
    Source,
    Steps,
)
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, describe_value
from benchrig.values.medfloat import MedFloatFormat
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import Duration, Quantity
from benchrig.values.structs import ListFormat

if TYPE_CHECKING:
    from benchrig.values.base import Format

_QUANTITY = re.compile(r"\s*[+-]?[0-9]")
# A medical float has no step of its own; what is drawn gets one decimal place.
_MEDFLOAT_STEP = Fraction(1, 10)


def source_of(value: Any, form: Format) -> Source:
    """The source that a value of a device file stands for, checked against the format. Raises Misfit."""
    pattern = _pattern(value, form, "")
    for example in pattern.examples():
        try:
            form.encode(example)
        except MalformedValue as exc:
            raise Misfit(exc.message, exc.advice) from exc
    return Source(pattern, form)


def _pattern(value: Any, form: Format, field: str) -> Pattern:
    if isinstance(value, dict):
        return _mapping(value, form, field)
    if isinstance(value, list):
        item = _leaf(form, field)
        inner = item.item if isinstance(item, ListFormat) else form
        return Items([_at(index, _pattern, part, inner, "") for index, part in enumerate(value)])
    return Constant(_scalar(value, _leaf(form, field)))


def _mapping(value: dict[Any, Any], form: Format, field: str) -> Pattern:
    known = _names(form, field)
    if len(value) == 1 and (word := next(iter(value))) in _GENERATORS and word not in known:
        return _at(word, _GENERATORS[word], value[word], form, field)
    if not known:
        one = next(iter(value), "")
        advice = suggest(str(one), _GENERATORS)
        raise Misfit("expected a value or one generator, found a mapping", advice)
    prefix = f"{field}." if field else ""
    return Fields({name: _at(name, _pattern, part, form, f"{prefix}{name}") for name, part in value.items()})


def _names(form: Format, field: str) -> set[str]:
    """The names of the fields at this place of a structure."""
    prefix = f"{field}." if field else ""
    return {name.removeprefix(prefix).split(".")[0] for name in form.leaves() if name.startswith(prefix)}


def _leaf(form: Format, field: str) -> Format | None:
    return form.leaves().get(field) if field else form


def _at(key: Any, read: Callable[..., Pattern], *arguments: Any) -> Pattern:
    """Read a part; what is wrong with it is found at its place."""
    try:
        return read(*arguments)
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice, (key, *misfit.path)) from misfit


def _scalar(value: Any, leaf: Format | None) -> Any:
    """A single value as the format takes it: quantities in its unit."""
    unit = leaf.unit if leaf else ""
    if isinstance(value, str) and unit and _QUANTITY.match(value):
        return Quantity.from_source(value).to(unit)
    if isinstance(value, (int, Decimal)) and not isinstance(value, bool) and unit:
        raise Misfit(f"a bare number where a unit is due, found {value}", f"write {value} {unit}")
    return Fraction(value) if isinstance(value, Decimal) else value


def _number(arguments: dict[Any, Any], key: str, form: Format, field: str) -> Fraction:
    value = _scalar(arguments[key], _leaf(form, field))
    if isinstance(value, bool) or not isinstance(value, (int, Fraction)):
        raise Misfit(f"expected a number, found {describe_value(value)}", path=(key,))
    return Fraction(value)


def _arguments(value: Any, needed: set[str], allowed: set[str] = frozenset()) -> dict[Any, Any]:  # type: ignore[assignment]
    """The arguments of a generator. Raises Misfit for a missing or an unknown one."""
    keys = ", ".join(sorted(needed | allowed))
    if not isinstance(value, dict):
        raise Misfit(f"expected a mapping with {keys}")
    for key in value:
        if key not in needed | allowed:
            raise Misfit(f"unknown key '{key}'", suggest(str(key), needed | allowed), (key,))
    for key in sorted(needed - value.keys()):
        raise Misfit(f"the key '{key}' is missing", f"keys: {keys}")
    return value


def _steps(leaf: Format | None) -> Steps:
    if isinstance(leaf, IntegerFormat):
        raw = sorted((leaf.lowest * leaf.scale + leaf.offset, leaf.highest * leaf.scale + leaf.offset))
        low = raw[0] if leaf.valid.low is None else max(raw[0], leaf.valid.low)
        high = raw[1] if leaf.valid.high is None else min(raw[1], leaf.valid.high)
        return Steps(leaf.scale, leaf.offset, low, high)
    return Steps(_MEDFLOAT_STEP) if isinstance(leaf, MedFloatFormat) else Steps()


def _constant(value: Any, form: Format, field: str) -> Pattern:
    return _pattern(value, form, field)


def _ramp(value: Any, form: Format, field: str) -> Pattern:
    arguments = _arguments(value, {"from", "to", "over"})
    try:
        over = Duration.from_source(arguments["over"]).seconds
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice, ("over",)) from misfit
    if over <= 0:
        raise Misfit("a ramp takes some time", "for example: over: 10 s", ("over",))
    start, end = (_number(arguments, key, form, field) for key in ("from", "to"))
    return Ramp(start, end, over, _steps(_leaf(form, field)))


def _noise(value: Any, form: Format, field: str) -> Pattern:
    arguments = _arguments(value, {"mean", "sd"})
    leaf = _leaf(form, field)
    sd = arguments["sd"]
    if leaf and leaf.unit and isinstance(sd, str):
        try:
            spread = Quantity.from_source(sd).difference_to(leaf.unit)
        except Misfit as misfit:
            raise Misfit(misfit.message, misfit.advice, ("sd",)) from misfit
    else:
        spread = _number(arguments, "sd", form, field)
    if spread < 0:
        raise Misfit("a standard deviation is not negative", path=("sd",))
    return Noise(_number(arguments, "mean", form, field), spread, _steps(leaf))


def _counter(value: Any, form: Format, field: str) -> Pattern:
    arguments = _arguments(value, set(), {"start", "step", "modulo"})
    for key, number in arguments.items():
        if isinstance(number, bool) or not isinstance(number, int):
            raise Misfit(f"expected a whole number, found {describe_value(number)}", path=(key,))
    modulo = arguments.get("modulo")
    if modulo is not None and modulo < 1:
        raise Misfit("a counter starts again at some number above 0", path=("modulo",))
    return Counter(arguments.get("start", 0), arguments.get("step", 1), modulo, _largest(_leaf(form, field)))


def _largest(leaf: Format | None) -> int | None:
    """The largest whole number that a format carries; None where that is no matter of counting."""
    if not isinstance(leaf, IntegerFormat) or leaf.scale != 1 or leaf.offset != 0:
        return None
    most = (1 << (leaf.bits - leaf.signed)) - 1
    return most if leaf.valid.high is None else min(most, int(leaf.valid.high))


def _sequence(value: Any, form: Format, field: str) -> Pattern:
    if not isinstance(value, list) or not value:
        raise Misfit("expected a list of values")
    return Cycle([_at(index, _pattern, part, form, field) for index, part in enumerate(value)])


_GENERATORS: dict[Any, Callable[[Any, Format, str], Pattern]] = {
    "constant": _constant,
    "ramp": _ramp,
    "noise": _noise,
    "counter": _counter,
    "sequence": _sequence,
}
