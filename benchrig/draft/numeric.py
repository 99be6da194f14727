"""Limits for numbers: exact where a value does not move, a tolerance interval where it does."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from benchrig.draft.judged import Basis, Proposal, counted
from benchrig.draft.tolerance import Group, interval, spread_of
from benchrig.source.writing import Bare, decimal_text
from benchrig.values.base import Format
from benchrig.values.medfloat import MedFloatFormat
from benchrig.values.numbers import FloatFormat, IntegerFormat
from benchrig.values.quantity import dimension_of, exact, number_text

# Without statistics a measured value may be off by this much, and by so many steps of its format in any case.
GUESS = Fraction(1, 10)
LEAST_STEPS = 5
# A counter has been seen to go up at least twice.
_FEWEST_OF_COUNTER = 3
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
        ends = sorted(raw * form.scale + form.offset for raw in (form.lowest, form.highest))
        low = ends[0] if form.valid.low is None else max(ends[0], form.valid.low)
        high = ends[1] if form.valid.high is None else min(ends[1], form.valid.high)
        return Grid(abs(form.scale), form.offset, low, high)
    decimals = min(_MOST_DECIMALS, max(_decimals(value) for value in values))
    if width > 0:
        decimals = min(decimals, max(0, _DIGITS_OF_WIDTH - math.floor(math.log10(width))))
    valid = form.valid if isinstance(form, (FloatFormat, MedFloatFormat)) else None
    return Grid(Fraction(1, 10**decimals), low=valid.low if valid else None, high=valid.high if valid else None)


def _decimals(value: Fraction) -> int:
    return next((digits for digits in range(_MOST_DECIMALS) if (value * 10**digits).denominator == 1), _MOST_DECIMALS)


def number_limit(by_unit: Mapping[str, Sequence[float]], form: Format, basis: Basis, *, setting: bool) -> Proposal:
    """A limit for the numbers that units gave, in the order they came; a `setting` is equal or wrong."""
    values = [_number(value) for each in by_unit.values() for value in each]
    seen = _seen(by_unit, form.unit)
    if is_counter(by_unit, form):
        grid = grid_of(form, values, Fraction(0))
        return _range(grid.low, grid.high, form.unit, f"a counter ({seen}): any legal value", guess=False)
    if _may_count(form, values) and all(len(each) < _FEWEST_OF_COUNTER for each in by_unit.values()):
        return _any_legal(form, values, seen)
    single = len(by_unit) == 1
    if len(set(values)) == 1 and (setting or not _is_measured(form)):
        text = _text(values[0], form.unit)
        if text is None:
            return Proposal(None, f"{seen}: no limit, the number is too long for a plan")
        return Proposal({"equals": text}, f"{'a setting, ' if setting else ''}{seen}", guess=single)
    groups = [Group.of([float(value) for value in each]) for each in by_unit.values()]
    return _spread_limit(groups, values, form, basis, seen)


def summary_limit(groups: Sequence[Group], form: Format, basis: Basis) -> Proposal:
    """The same from statistics alone."""
    values = [_number(end) for group in groups for end in (group.minimum, group.maximum)]
    count = sum(group.count for group in groups)
    seen = f"{counted(count, 'value')} in records, {_from_to(min(values), max(values), form.unit)}"
    if _may_count(form, values):
        return _any_legal(form, values, seen)
    return _spread_limit(groups, values, form, basis, seen)


def _may_count(form: Format, values: Sequence[Fraction]) -> bool:
    """Whether values that differ may be those of a counter, where their order says nothing."""
    whole = isinstance(form, IntegerFormat) and form.bits >= _SMALLEST_COUNTER
    return whole and not _is_measured(form) and len(set(values)) > 1


def _any_legal(form: Format, values: Sequence[Fraction], seen: str) -> Proposal:
    grid = grid_of(form, values, Fraction(0))
    return _range(grid.low, grid.high, form.unit, f"{seen}, which may be a counter: any legal value", guess=True)


def _spread_limit(
    groups: Sequence[Group], values: Sequence[Fraction], form: Format, basis: Basis, seen: str
) -> Proposal:
    spread = spread_of(groups)
    if len(groups) == 1 and spread.sd == 0:
        return _guessed(values, form, seen)
    low, high = map(Fraction, interval(groups, basis.share, basis.confidence))
    low, high = min(low, *values), max(high, *values)
    below, above = grid_of(form, values, high - low).outward(low, high)
    # an interval without a spread has no share of good values to state
    found = f"sd {spread.sd:.3g}: {basis.words()}" if spread.sd else "alike: one step to either side"
    reason = f"{seen}, {found}"
    if len(groups) == 1:
        reason += "; one unit says nothing about others"
    return _range(below, above, form.unit, reason, guess=False)


def _guessed(values: Sequence[Fraction], form: Format, seen: str) -> Proposal:
    """Values that do not move: nothing is known of their spread."""
    share = abs(values[0]) * GUESS
    grid = grid_of(form, values, 2 * share)
    reach = max(share, LEAST_STEPS * grid.step)
    low, high = grid.outward(values[0] - reach, values[0] + reach)
    how = f"{100 * GUESS} %" if reach == share else f"{LEAST_STEPS} steps"
    return _range(low, high, form.unit, f"{seen}; {how} and one more step to either side", guess=True)


def is_counter(by_unit: Mapping[str, Sequence[float]], form: Format) -> bool:
    """Whether it counts up, over the end of its format too: a whole number without a unit, or a time. In a long
    row it may begin anew now and then."""
    if not isinstance(form, IntegerFormat) or _is_measured(form) or form.bits < _SMALLEST_COUNTER:
        return False
    rows = [each for each in by_unit.values() if len(each) >= _FEWEST_OF_COUNTER]
    return any(len(set(row)) > 1 for row in rows) and all(_counts(row, form) for row in rows)


def _counts(row: Sequence[float], form: IntegerFormat) -> bool:
    back = [later for earlier, later in pairwise(row) if _step(earlier, later, form) >= 2 ** (form.bits - 1)]
    return len(back) <= len(row) // _ROW_PER_RESTART and all(value <= row[0] for value in back)


def _step(earlier: float, later: float, form: IntegerFormat) -> Fraction:
    return Fraction((_number(later) - _number(earlier)) / form.scale % 2**form.bits)


def _number(value: float) -> Fraction:
    """The number as people write it; a float beyond all halves is the whole number that it is."""
    return Fraction(value) if isinstance(value, float) and abs(value) >= _WHOLE else exact(value)


def _is_measured(form: Format) -> bool:
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


def _range(low: Fraction | None, high: Fraction | None, unit: str, reason: str, *, guess: bool) -> Proposal:
    ends = {"min": _text(low, unit, math.floor), "max": _text(high, unit, math.ceil)}
    limit = {key: text for key, text in ends.items() if text is not None}
    return Proposal(limit, reason, guess) if limit else Proposal(None, f"{reason}; no end of it fits into a plan")


def _text(number: Fraction | None, unit: str, rounding: Callable[[Fraction], int] | None = None) -> Bare | None:
    """The number with its unit as a plan writes it; without an exact decimal rounded, if that may be."""
    if number is None:
        return None
    text = decimal_text(number)
    if not text and rounding is not None:
        text = decimal_text(Fraction(rounding(number * 10**_ROUNDED), 10**_ROUNDED))
    return Bare(f"{text} {unit}" if unit else text) if text else None
