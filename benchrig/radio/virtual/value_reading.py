"""Values and generators of a device file -> patterns.

21.5 °C                                    a constant; a unit where the format has one
{constant: 21.5 °C}                        the same
{ramp: {from: 4 °C, to: 8 °C, over: 60 s}}
{noise: {mean: 4 °C, sd: 0.1 °C}}
{counter: {start: 0, step: 1, modulo: 65536}}   numbers in the unit of the format, if it has one
{counter: {text: 'counter {number}', digits: 4}}   the same in a text
{sequence: [1 °C, 2 °C]}
{states: [{value: idle, for: 3 s}, {value: done}]}
{random: {bytes: 8}}
{clock: {start: 0 s}}                      seconds; goes on from what was written
{flags: 0, heart_rate: {noise: …}}         a structure: each field a value or generator
[1, 2]                                     a list
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeVar

from benchrig.errors import MalformedValue
from benchrig.radio.virtual.sources import (
    Clock,
    Constant,
    Counter,
    Cycle,
    Fields,
    Items,
    Noise,
    Pattern,
    Ramp,
    RandomBytes,
    Source,
    States,
    Steps,
    TextCounter,
)
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, describe_value
from benchrig.values.base import Format
from benchrig.values.bounds import add_unit
from benchrig.values.medfloat import MedFloatFormat
from benchrig.values.numbers import FloatFormat, IntegerFormat
from benchrig.values.quantity import Duration, Quantity, number_text
from benchrig.values.structs import ListFormat
from benchrig.values.text import BytesFormat, TextFormat

T = TypeVar("T")

_QUANTITY = re.compile(r"\s*[+-]?[0-9]")
# A medical float has no step of its own; what is drawn gets one decimal place.
_MEDFLOAT_STEP = Fraction(1, 10)
# The largest of the whole numbers that a float carries without a gap; the highest mantissas of a medical one are words.
_WHOLE_NUMBERS: dict[tuple[type[Format], int], int] = {
    (MedFloatFormat, 16): 2**11 - 3,
    (MedFloatFormat, 32): 2**23 - 3,
    (FloatFormat, 32): 2**24,
    (FloatFormat, 64): 2**53,
}
_MOST_DECIMALS = 9
_LARGEST_WHOLE = 2**64
_LONGEST = 512  # octets of an attribute (Core Vol 3 Part F 3.2.9)
NUMBER = "{number}"


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
        item = leaf_of(form, field)
        inner = item.item if isinstance(item, ListFormat) else form
        return Items([at(index, _pattern, part, inner, "") for index, part in enumerate(value)])
    return Constant(_encodable(_scalar(value, leaf := leaf_of(form, field)), leaf))


def _encodable(value: Any, leaf: Format | None) -> Any:
    """The value of a part, which the format of that part has to take. Raises Misfit."""
    if leaf is not None and not leaf.leaves():
        try:
            leaf.encode(value)
        except MalformedValue as exc:
            raise Misfit(exc.message, exc.advice) from exc
    return value


def _mapping(value: dict[Any, Any], form: Format, field: str) -> Pattern:
    known = names_in(form, field)
    if len(value) == 1 and (word := next(iter(value))) in GENERATORS and word not in known:
        return at(word, GENERATORS[word], value[word], form, field)
    if not known:
        one = next(iter(value), "")
        advice = suggest(str(one), GENERATORS)
        raise Misfit("expected a value or one generator, found a mapping", advice)
    prefix = f"{field}." if field else ""
    return Fields({name: at(name, _pattern, part, form, f"{prefix}{name}") for name, part in value.items()})


def names_in(form: Format, field: str) -> set[str]:
    """The names of the fields at this place of a structure."""
    prefix = f"{field}." if field else ""
    return {name.removeprefix(prefix).split(".")[0] for name in form.leaves() if name.startswith(prefix)}


def leaf_of(form: Format, field: str) -> Format | None:
    return form.leaves().get(field) if field else form


def at(key: Any, read: Callable[..., T], *arguments: Any) -> T:
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
        raise Misfit(f"expected a number with its unit, found {value}", add_unit(value, unit))
    return Fraction(value) if isinstance(value, Decimal) else value


def number_in(value: Any, form: Format) -> Fraction:
    """A number as the format has it, differences of temperature as such. Raises Misfit."""
    if form.unit and isinstance(value, str) and _QUANTITY.match(value):
        return Quantity.from_source(value).difference_to(form.unit)
    return _number({"": value}, "", form, "")


def number_of(value: Any, form: Format, field: str) -> Fraction:
    """A number as the format of this field has it. Raises Misfit."""
    try:
        return _number({"": value}, "", form, field)
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice) from misfit


def difference_of(value: Any, form: Format, field: str) -> Fraction:
    """The same of a difference between two values: 1 K is 1 °C."""
    leaf = leaf_of(form, field)
    if leaf and leaf.unit and isinstance(value, str):
        return Quantity.from_source(value).difference_to(leaf.unit)
    return number_of(value, form, field)


def _number(arguments: dict[Any, Any], key: str, form: Format, field: str) -> Fraction:
    value = _scalar(arguments[key], leaf_of(form, field))
    if isinstance(value, bool) or not isinstance(value, (int, Fraction)):
        raise Misfit(f"expected a number, found {describe_value(value)}", path=(key,))
    return Fraction(value)


def arguments_of(value: Any, needed: set[str], allowed: set[str] = frozenset()) -> dict[Any, Any]:  # type: ignore[assignment]
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


def steps_of(leaf: Format | None) -> Steps:
    if isinstance(leaf, IntegerFormat):
        return Steps(leaf.scale, leaf.offset, *leaf.legal)
    return Steps(_MEDFLOAT_STEP) if isinstance(leaf, MedFloatFormat) else Steps()


def _constant(value: Any, form: Format, field: str) -> Pattern:
    return _pattern(value, form, field)


def _ramp(value: Any, form: Format, field: str) -> Pattern:
    arguments = arguments_of(value, {"from", "to", "over"})
    over = at("over", Duration.from_source, arguments["over"]).seconds
    if over <= 0:
        raise Misfit("a ramp takes some time", "for example: over: 10 s", ("over",))
    start, end = (_number(arguments, key, form, field) for key in ("from", "to"))
    return Ramp(start, end, over, steps_of(leaf_of(form, field)))


def _noise(value: Any, form: Format, field: str) -> Pattern:
    arguments = arguments_of(value, {"mean", "sd"})
    leaf = leaf_of(form, field)
    spread = at("sd", difference_of, arguments["sd"], form, field)
    if spread < 0:
        raise Misfit("a standard deviation is not negative", path=("sd",))
    return Noise(_number(arguments, "mean", form, field), spread, steps_of(leaf))


def _counter(value: Any, form: Format, field: str) -> Pattern:
    if isinstance(leaf_of(form, field), TextFormat):
        return _text_counter(value)
    arguments = arguments_of(value, set(), {"start", "step", "modulo"})
    start, step, modulo = (
        _number(arguments, key, form, field) if key in arguments else None for key in ("start", "step", "modulo")
    )
    leaf = leaf_of(form, field)
    range_ = _counted(leaf, [number for number in (start, step, modulo) if number is not None])
    size = range_.size or Fraction(1)
    if step is not None and (step / size).denominator != 1:
        raise Misfit(f"the format has steps of {_said(size, leaf)}, found {_said(step, leaf)}", path=("step",))
    end = None if range_.high is None else range_.high + size
    if modulo is not None:
        end = _modulo(modulo, end, leaf)
    base = range_.base % size
    return Counter(base if start is None else start, size if step is None else step, base, range_.low, end)


def _text_counter(value: Any) -> Pattern:
    arguments = arguments_of(value, {"text"}, {"start", "step", "digits"})
    text = arguments["text"]
    if not isinstance(text, str) or text.count(NUMBER) != 1:
        raise Misfit(f"expected a text with one {NUMBER} in it", f"for example: counter {NUMBER}", ("text",))
    start, step = _whole(arguments, "start", 0), _whole(arguments, "step", 1)
    digits = _whole(arguments, "digits", 1, _LONGEST)
    before, _, after = text.partition(NUMBER)
    return TextCounter(Counter(Fraction(start), Fraction(step), Fraction(0)), before, after, digits)


def _whole(arguments: dict[Any, Any], key: str, least: int, most: int = _LARGEST_WHOLE) -> int:
    value = arguments.get(key, least)
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise Misfit(f"expected a whole number, {least} to {most}, found {describe_value(value)}", path=(key,))
    return value


def _modulo(modulo: Fraction, end: Fraction | None, leaf: Format | None) -> Fraction:
    if modulo <= 0:
        raise Misfit("a counter starts again at some number above 0", path=("modulo",))
    if end is not None and modulo > end:
        raise Misfit(f"the format ends before {_said(end, leaf)}, found {_said(modulo, leaf)}", path=("modulo",))
    return modulo


def _said(number: Fraction, leaf: Format | None) -> str:
    return f"{number_text(number)} {leaf.unit if leaf else ''}".rstrip()


def _counted(leaf: Format | None, numbers: list[Fraction]) -> Steps:
    """What a counter of this format can come to. A float carries whole numbers up to a size, or as many decimals less
    as one of the `numbers` has."""
    if isinstance(leaf, IntegerFormat):
        return steps_of(leaf)
    if isinstance(leaf, (MedFloatFormat, FloatFormat)):
        size = min([Fraction(1), *(Fraction(1, 10 ** _decimals(number)) for number in numbers)])
        return Steps(size, Fraction(0), None, _WHOLE_NUMBERS[type(leaf), leaf.bits] * size)
    return Steps()


def _decimals(number: Fraction) -> int:
    count = 0
    while (number * 10**count).denominator != 1 and count < _MOST_DECIMALS:
        count += 1
    return count


def _sequence(value: Any, form: Format, field: str) -> Pattern:
    if not isinstance(value, list) or not value:
        raise Misfit("expected a list of values")
    return Cycle([at(index, _pattern, part, form, field) for index, part in enumerate(value)])


def _states(value: Any, form: Format, field: str) -> Pattern:
    if not isinstance(value, list) or not value:
        raise Misfit("expected a list of states", "for example: [{value: 1, for: 3 s}, {value: 2}]")
    begin, states = 0.0, []
    for index, part in enumerate(value):
        is_last = index == len(value) - 1
        pattern, lasts = at(index, _state, part, form, field, is_last)
        states.append((begin, pattern))
        begin += lasts
    return States(states)


def _state(value: Any, form: Format, field: str, is_last: bool) -> tuple[Pattern, float]:
    if is_last and isinstance(value, dict) and "for" in value:
        raise Misfit("the last state stays, so 'for' says nothing", "take it out, or add a state after it", ("for",))
    arguments = arguments_of(value, {"value"} if is_last else {"value", "for"})
    pattern = at("value", _pattern, arguments["value"], form, field)
    lasts = 0.0 if is_last else at("for", Duration.from_source, arguments["for"]).seconds
    if not is_last and lasts <= 0:
        raise Misfit("a state takes some time", "for example: for: 3 s", ("for",))
    return pattern, lasts


def _clock(value: Any, form: Format, field: str) -> Pattern:
    arguments = arguments_of(value, set(), {"start"})
    leaf = leaf_of(form, field)
    if leaf is None or leaf.unit != "s":
        raise Misfit("a clock counts seconds", "give the format 'unit: s'")
    start = _number(arguments, "start", form, field) if "start" in arguments else Fraction(0)
    return Clock(start, steps_of(leaf))


def _random(value: Any, form: Format, field: str) -> Pattern:
    arguments = arguments_of(value, {"bytes"})
    if not isinstance(leaf_of(form, field), BytesFormat):
        raise Misfit("random bytes need a format of bytes", "write 'as: hex'")
    return RandomBytes(_whole(arguments, "bytes", 1, _LONGEST))


GENERATORS: dict[Any, Callable[[Any, Format, str], Pattern]] = {
    "constant": _constant,
    "ramp": _ramp,
    "noise": _noise,
    "counter": _counter,
    "sequence": _sequence,
    "states": _states,
    "random": _random,
    "clock": _clock,
}
