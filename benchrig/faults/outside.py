"""How far off a number is to be: just outside what a plan allows, else a sensible distance."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any

from benchrig.faults.leaves import Leaf, Number
from benchrig.radio.virtual.sources import Noise
from benchrig.source.shape import Misfit
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import as_number

_SHARE = Fraction(1, 5)  # of the value, where no plan says more
_SPREADS = 6  # standard deviations of a value that scatters
_FARTHEST = 1 << 40  # steps


def distances(leaf: Leaf, form: Number) -> Iterator[tuple[str, Fraction, Fraction]]:
    """'high' and 'low', each with how far that is, and with what is to be added to the number as it is sent."""
    number = leaf.number
    if number is None:
        return
    step = abs(form.scale) if isinstance(form, IntegerFormat) else _float_step(number)
    spread = leaf.pattern.sd if isinstance(leaf.pattern, Noise) else Fraction(0)
    for kind, sign in (("high", 1), ("low", -1)):
        count = _planned(leaf, form, number, sign * step) or _usual(form, number, step)
        far = (count + round(_SPREADS * spread / step)) * step
        if _is_carried(form, number + sign * far):
            yield kind, far, sign * far / form.scale if isinstance(form, IntegerFormat) else sign * far


def _float_step(number: Fraction) -> Fraction:
    return Fraction(1, 10) if abs(number) < 100 else Fraction(1)


def _usual(form: Number, number: Fraction, step: Fraction) -> int:
    is_count = isinstance(form, IntegerFormat) and not form.unit and form.scale == 1
    return 1 if is_count else max(1, round(abs(number) * _SHARE / step))


def _planned(leaf: Leaf, form: Number, number: Fraction, step: Fraction) -> int:
    """The least count of steps with which a limit of the plan is broken; 0 where none bounds this side."""
    found = [_least_refused(passes, number, step) for passes in _tests(leaf.limits, form)]
    return min((count for count in found if count), default=0)


def _tests(limits: Any, form: Number) -> Iterator[Callable[[Any], bool]]:
    for limit in limits:
        try:
            yield limit.bind("number", form.unit).passes
        except Misfit:
            continue


def _least_refused(passes: Callable[[Any], bool], number: Fraction, step: Fraction) -> int:
    """By doubling and then halving; 0 for a limit that the value breaks already, or that never ends."""
    if not passes(as_number(number)):
        return 0
    high = 1
    while passes(as_number(number + high * step)):
        if high > _FARTHEST:
            return 0
        high *= 2
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if passes(as_number(number + middle * step)) else (low, middle)
    return high


def _is_carried(form: Number, number: Fraction) -> bool:
    """Whether the format has bits for it: what wraps round is no number that is a little off."""
    if not isinstance(form, IntegerFormat):
        return True
    raw = (number - form.offset) / form.scale
    return form.lowest <= raw <= form.highest
