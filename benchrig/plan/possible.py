"""Limits that no value of a format could satisfy, and limits that none could break."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.values import bounds
from benchrig.values.base import Format, with_unit
from benchrig.values.judging import BoundLimit
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import MEASURES
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import exact, is_number


def impossible(limit: Limit, form: Format) -> Iterator[Misfit]:
    """What is wrong with a limit, that applies to readings of this format, as they can only be what it carries."""
    given = frozenset(limit.keys())
    yield from _never_equal(limit, form)
    if isinstance(form, IntegerFormat) and form.kind == "number":
        yield from _beyond_bits(limit, given, form)
        yield from _beyond_ends(limit, given, form)


def _never_equal(limit: Limit, form: Format) -> Iterator[Misfit]:
    if not form.writes:
        return
    for path, value in limit.named():
        wanted = _as_read(value, form, path[0])
        try:
            nearest = wanted if wanted is None else form.decode(form.encode(wanted))
        except MalformedValue as error:
            yield Misfit(f"the reading is never that: {error.message}", error.advice, path)
            continue
        if nearest != wanted:
            message = f"the reading is never {with_unit(wanted, form.unit)}: {form.describe()} does not carry it"
            yield Misfit(message, f"write the nearest, {with_unit(nearest, form.unit)}", path)


def not_offered(limit: Limit, options: Sequence[str]) -> Iterator[Misfit]:
    """What is wrong with a limit on an answer that is one of these."""
    for path, value in limit.named():
        if isinstance(value, str) and value not in options:
            yield Misfit(f"the reading is never '{value}': it is one of the options", suggest(value, options), path)


def _as_read(value: Any, form: Format, key: str | int) -> Any:
    """A value of the limit as a reading has it; None for kinds that hold anything."""
    if form.kind == "number":
        return bounds.number_or_word(value, form.unit, str(key))
    if form.kind == "bytes":
        return bounds.hex_bytes(value, str(key))
    return str(value) if form.kind == "text" else None


def _beyond_bits(limit: Limit, given: frozenset[str], form: IntegerFormat) -> Iterator[Misfit]:
    if "bits" not in given or form.signed or form.scale != 1 or form.offset:
        return
    if limit.bits.mask >> form.bits:
        message = f"the mask 0x{limit.bits.mask:X} does not fit a reading of {form.bits} bits"
        yield Misfit(message, "take out the bits that are not there", ("bits", "mask"))


def _beyond_ends(limit: Limit, given: frozenset[str], form: IntegerFormat) -> Iterator[Misfit]:
    keys = MEASURES & given
    if not keys or "equals" in given:
        return
    bound = limit.bind("number", form.unit)
    (least, most), low, high = _ends(form), _edge(bound.low), _edge(bound.high)
    too_high = low is not None and (low > most or (bound.low_open and low == most))
    too_low = high is not None and (high < least or (bound.high_open and high == least))
    if too_high or too_low:
        sides = ("min", "above") if too_high else ("max", "below")
        key = next(key for key in ("nominal", *sides) if key in keys)
        yield Misfit(f"the reading is {_range(form)}, so nothing could pass", "write a limit within", (key,))
    elif _none_between(bound, form):
        yield Misfit(f"{form.describe()} has no value {bound.words}, so nothing could pass", "widen it", ())
    elif not form.words and given == keys and _holds_all(bound, least, most):
        yield Misfit(
            f"the reading is {_range(form)}, so nothing could fail", "write a limit within, or take it out", ()
        )


def _none_between(bound: BoundLimit, form: IntegerFormat) -> bool:
    """Whether no step of the format is within, where an open end would need one."""
    if not (bound.low_open or bound.high_open) or _edge(bound.low) is None or _edge(bound.high) is None:
        return False
    low, high = sorted((exact(edge) - form.offset) / form.scale for edge in (bound.low, bound.high))
    step = math.floor(low) if not _is_open(bound, form.scale < 0) and low == math.floor(low) else math.floor(low) + 1
    return step > high or (step == high and _is_open(bound, form.scale > 0))


def _is_open(bound: BoundLimit, high: bool) -> bool:
    return bound.high_open if high else bound.low_open


def _holds_all(bound: BoundLimit, least: Fraction, most: Fraction) -> bool:
    """Whether the limit reaches beyond all that can be; the very ends of the range are how people write it."""
    low, high = _edge(bound.low), _edge(bound.high)
    if low is not None and (low > least or (bound.low_open and low == least)):
        return False
    if high is not None and (high < most or (bound.high_open and high == most)):
        return False
    return (low is not None and low < least) or (high is not None and high > most)


def _range(form: IntegerFormat) -> str:
    least, most = _ends(form)
    return f"{with_unit(least, '')} to {with_unit(most, form.unit)}"


@lru_cache(maxsize=256)
def _ends(form: IntegerFormat) -> tuple[Fraction, Fraction]:
    """The least and the largest legal value."""
    first, last = sorted(raw * form.scale + form.offset for raw in (form.lowest, form.highest))
    low, high = form.valid.low, form.valid.high
    return first if low is None else max(first, low), last if high is None else min(last, high)


def _edge(value: Any) -> Fraction | None:
    return exact(value) if is_number(value) else None
