"""Limits for numbers: exact where a value does not move, a tolerance interval where it does."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from benchrig.propose.proposal import Basis, Grounds, Proposal
from benchrig.source.problem import counted
from benchrig.source.writing import Bare, decimal_text
from benchrig.study.tolerance import Group, interval, spread_of
from benchrig.values.base import Format
from benchrig.values.decimal_text import DecimalFormat
from benchrig.values.medfloat import MedFloatFormat
from benchrig.values.numbers import FloatFormat, IntegerFormat
from benchrig.values.quantity import exact, number_text
from benchrig.values.units import dimension_of

# Without statistics a measured value may be off by this much, and by so many steps of its format in any case.
GUESS = Fraction(1, 10)
LEAST_STEPS = 5
# Until there are so many degrees of freedom an interval is not taken to be narrower than that, and few values of one unit
# may be so many times further than they are apart.
ENOUGH_FREEDOM = 10
APART = 2
# Of noise without ties 1 row in 5040 goes up so often without going down.
_RISES_OF_COUNTER = 6
_SMALLEST_COUNTER = 8
_ROW_PER_RESTART = 8
# A float has no step of its own: as many digits as its values show, but no more than this of the width.
_DIGITS_OF_WIDTH = 2
_MOST_DECIMALS = 30
_ROUNDED = 12
_WHOLE = 2.0**53


@dataclass(frozen=True)
class Grid:
    """The values that a format can carry: multiples of `step` from `zero`, between `low` and `high` (None: no end)."""

    step: Fraction
    zero: Fraction = Fraction(0)
    low: Fraction | None = None
    high: Fraction | None = None

    def outward(self, low: Fraction, high: Fraction) -> tuple[Fraction, Fraction]:
        """The range on the grid, one step wider on either side, and no wider than what is legal."""
        below = self.zero + (math.floor((low - self.zero) / self.step) - 1) * self.step
        above = self.zero + (math.ceil((high - self.zero) / self.step) + 1) * self.step
        return below if self.low is None else max(below, self.low), above if self.high is None else min(
            above, self.high
        )


def grid_of(form: Format, values: Sequence[Fraction], width: Fraction) -> Grid:
    """The grid of a number format; `width` is that of the range in question."""
    if isinstance(form, IntegerFormat):
        return Grid(abs(form.scale), form.offset, *form.legal)
    decimals = min(_MOST_DECIMALS, max(_decimals(value) for value in values))
    if width > 0:
        decimals = min(decimals, max(0, _DIGITS_OF_WIDTH - math.floor(math.log10(width))))
    valid = form.valid if isinstance(form, (FloatFormat, MedFloatFormat, DecimalFormat)) else None
    return Grid(Fraction(1, 10**decimals), low=valid.low if valid else None, high=valid.high if valid else None)


def _decimals(value: Fraction) -> int:
    return next((digits for digits in range(_MOST_DECIMALS) if (value * 10**digits).denominator == 1), _MOST_DECIMALS)


def number_limit(by_unit: Mapping[str, Sequence[float]], form: Format, basis: Basis, *, setting: bool) -> Proposal:
    """A limit for the numbers that units gave, in the order they came; a `setting` is equal or wrong."""
    values = [_number(value) for each in by_unit.values() for value in each]
    seen, units = _seen(by_unit, form.unit), len(by_unit)
    if len(set(values)) > 1 and may_count(by_unit, form):
        return _any_legal(form, values, Grounds(units, shown=is_counter(by_unit, form)), seen)
    if len(set(values)) == 1 and (setting or not is_measured(form)):
        text = _text(values[0], form.unit)
        if text is None:
            return Proposal(None, f"{seen}: no limit, the number is too long for a plan")
        return Proposal({"equals": text}, f"{'a setting, ' if setting else ''}{seen}", Grounds(units))
    groups = [Group.of([float(value) for value in each]) for each in by_unit.values()]
    return _spread_limit(groups, values, form, basis, seen)


def summary_limit(groups: Sequence[Group], form: Format, basis: Basis) -> Proposal:
    """The same from statistics alone, where the order of the values is not known."""
    values = [_number(end) for group in groups for end in (group.minimum, group.maximum)]
    count = sum(group.count for group in groups)
    seen = f"{counted(count, 'value')} in records, {_from_to(min(values), max(values), form.unit)}"
    if _can_count(form) and len(set(values)) > 1:
        return _any_legal(form, values, Grounds(len(groups), shown=False), seen)
    return _spread_limit(groups, values, form, basis, seen)


def _any_legal(form: Format, values: Sequence[Fraction], grounds: Grounds, seen: str) -> Proposal:
    grid = grid_of(form, values, Fraction(0))
    what = "a counter" if grounds.shown else "which may be a counter"
    return _range(grid.low, grid.high, form.unit, f"{seen}, {what}: any legal value", grounds)


def _spread_limit(
    groups: Sequence[Group], values: Sequence[Fraction], form: Format, basis: Basis, seen: str
) -> Proposal:
    """The tolerance interval, but no narrower than a chosen range where the values do not show how far they spread. Few
    values of one unit have no interval worth its name."""
    spread, units = spread_of(groups), len(groups)
    few = spread.sd == 0 or spread.freedom < ENOUGH_FREEDOM
    low, high = min(values), max(values)
    if spread.sd and not (few and units == 1):
        below, above = map(Fraction, interval(groups, basis.share, basis.confidence))
        low, high = min(low, below), max(high, above)
    reach, how = _reach(values, form, few=few and units == 1)
    least, most = min(values) - reach, max(values) + reach
    shown = units > 1 and (not few or (low < least and high > most))
    if not shown:
        low, high = min(low, least), max(high, most)
    reason = (
        f"{seen}, sd {spread.sd:.3g}: {basis.words()}" if shown else f"{seen}; {how} and one more step to either side"
    )
    low, high = grid_of(form, values, high - low).outward(low, high)
    return _range(low, high, form.unit, reason, Grounds(units, shown))


def farthest(form: Format, rows: Sequence[Sequence[Fraction]]) -> Fraction:
    """How far apart the values of one unit may lie, from rows of one unit each: on the grid of the format."""
    values = [value for row in rows for value in row]
    reach = max(_reach(values, form, few=False)[0], *(APART * (max(row) - min(row)) for row in rows))
    step = grid_of(form, values, reach).step
    return math.ceil(reach / step) * step


def _reach(values: Sequence[Fraction], form: Format, *, few: bool) -> tuple[Fraction, str]:
    """How far beyond the values those may be of which too little is known, as a number and in words."""
    share = GUESS * max(map(abs, values))
    ways = [(share, f"{100 * GUESS} %"), (LEAST_STEPS * grid_of(form, values, 2 * share).step, f"{LEAST_STEPS} steps")]
    if few:
        ways.append((APART * (max(values) - min(values)), f"{APART} times what they are apart"))
    return max(ways, key=lambda way: way[0])


def _can_count(form: Format) -> bool:
    """A whole number without a unit, or a time."""
    return isinstance(form, IntegerFormat) and form.bits >= _SMALLEST_COUNTER and not is_measured(form)


def may_count(by_unit: Mapping[str, Sequence[float]], form: Format) -> bool:
    """Whether the values may be those of a counter: in each row they go up, over the end of the format too. In a long
    row they may begin anew now and then; a single value has no order."""
    return isinstance(form, IntegerFormat) and _can_count(form) and all(_counts(row, form) for row in by_unit.values())


def is_counter(by_unit: Mapping[str, Sequence[float]], form: Format) -> bool:
    """Whether the values have gone up so often that noise does not do it."""
    return may_count(by_unit, form) and max(map(_rises, by_unit.values()), default=0) >= _RISES_OF_COUNTER


def _rises(row: Sequence[float]) -> int:
    return sum(later > earlier for earlier, later in pairwise(row))


def _counts(row: Sequence[float], form: IntegerFormat) -> bool:
    back = [later for earlier, later in pairwise(row) if _step(earlier, later, form) >= 2 ** (form.bits - 1)]
    most = len(row) // _ROW_PER_RESTART if _rises(row) >= _RISES_OF_COUNTER else 0
    return len(back) <= most and all(value <= row[0] for value in back)


def _step(earlier: float, later: float, form: IntegerFormat) -> Fraction:
    return Fraction((_number(later) - _number(earlier)) / form.scale % 2**form.bits)


def _number(value: float) -> Fraction:
    """The number as people write it; a float beyond all halves is the whole number that it is."""
    return Fraction(value) if isinstance(value, float) and abs(value) >= _WHOLE else exact(value)


def is_measured(form: Format) -> bool:
    """Whether it is a measured value, which moves: it has a unit, and that is no time."""
    if not form.unit:
        return isinstance(form, (FloatFormat, MedFloatFormat))
    return dimension_of(form.unit) != "time"


def _seen(by_unit: Mapping[str, Sequence[float]], unit: str) -> str:
    numbers = [_number(value) for each in by_unit.values() for value in each]
    where = counted(len(by_unit), "unit")
    return f"{counted(len(numbers), 'value')} of {where}, {_from_to(min(numbers), max(numbers), unit)}"


def _from_to(low: Fraction, high: Fraction, unit: str) -> str:
    symbol = f" {unit}" if unit else ""
    return f"{'all ' if low == high else number_text(low) + ' to '}{number_text(high)}{symbol}"


def _range(low: Fraction | None, high: Fraction | None, unit: str, reason: str, grounds: Grounds) -> Proposal:
    ends = {"min": _text(low, unit, math.floor), "max": _text(high, unit, math.ceil)}
    limit = {key: text for key, text in ends.items() if text is not None}
    return Proposal(limit, reason, grounds) if limit else Proposal(None, f"{reason}; no end of it fits into a plan")


def _text(number: Fraction | None, unit: str, rounding: Callable[[Fraction], int] | None = None) -> Bare | None:
    """The number with its unit as a plan writes it; without an exact decimal rounded, if that may be."""
    if number is None:
        return None
    text = decimal_text(number)
    if not text and rounding is not None:
        text = decimal_text(Fraction(rounding(number * 10**_ROUNDED), 10**_ROUNDED))
    return Bare(f"{text} {unit}" if unit else text) if text else None
