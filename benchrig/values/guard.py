"""Guard bands: a limit that is drawn in by what is not known of the measurement, so that what passes does conform.

ISO 14253-1: the acceptance limit is the expanded uncertainty U (k = 2) within the limit. JCGM 106:2012, clause 8.3: it is as far
within as a reading on it conforms with the probability 1 - risk.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar, Literal

import msgspec

from benchrig.source.shape import Misfit, Number
from benchrig.study.conformance import guard_for_risk
from benchrig.values import bounds
from benchrig.values.judging import BoundLimit, Check, difference_unit, shown, typed
from benchrig.values.limit_keys import Measure
from benchrig.values.quantity import Quantity, as_number, exact, is_number, number_text
from benchrig.values.share import Share
from benchrig.values.units import LEVELS

_ABSENT: Any = msgspec.UNSET
ISO, JCGM = "ISO 14253-1", "JCGM 106"
# Digits of a guard band that comes from a risk; the last one is rounded up, so that it is never too narrow.
_DIGITS = 4
_MOST_K = 10


class Guard(msgspec.Struct, frozen=True, omit_defaults=True):
    """The rule that draws a limit in, and the uncertainty of the measurement."""

    never_empty: ClassVar[bool] = True

    rule: Literal["ISO 14253-1", "JCGM 106"]
    expanded: Measure = _ABSENT
    k: Number | None = None
    standard: Measure = _ABSENT
    risk: Share | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from self._of_uncertainty()
        if self.rule == ISO and self.risk is not None:
            yield Misfit(f"{ISO} takes no risk: its guard band is as wide as U", f"write rule: {JCGM}", ("risk",))
        elif self.rule == JCGM and self.risk is None:
            yield Misfit(
                f"{JCGM} without a risk", "add the risk that a reading on the limit does not conform: risk: 5 %"
            )
        elif self.risk is not None and not 0 < self.risk.part < 0.5:
            yield Misfit(f"expected a risk above 0 % and below 50 %, found {self.risk}", "for example: 5 %", ("risk",))

    def _of_uncertainty(self) -> Iterable[Misfit]:
        if (self.expanded is _ABSENT) == (self.standard is _ABSENT):
            what = "no uncertainty" if self.expanded is _ABSENT else "two uncertainties"
            yield Misfit(f"a guard band has one uncertainty, this one has {what}", "write expanded and k, or standard")
        elif (self.k is None) != (self.expanded is _ABSENT):
            what = "expanded without k" if self.k is None else "k without expanded"
            yield Misfit(what, "write both: {expanded: 0.2 K, k: 2}")
        elif self.k is not None and not 1 <= self.k <= _MOST_K:
            yield Misfit(f"expected a k of 1 to {_MOST_K}, found {self.k}", "for example: 2", ("k",))

    def standard_in(self, unit: str) -> Fraction:
        """The standard uncertainty of a reading in this unit. Misfit."""
        if self.standard is not _ABSENT:
            return _difference(self.standard, unit, "standard")
        return _difference(self.expanded, unit, "expanded") / exact(Decimal(self.k or 1))

    def band(self, u: Fraction, low: Any, high: Any) -> Fraction | None:
        """How far each limit is drawn in; None where no value conforms so surely."""
        if self.risk is None:
            return 2 * u
        least, most = (float(edge) if is_number(edge) else None for edge in (low, high))
        g = guard_for_risk(float(u), least, most, self.risk.part)
        return None if g is None else _rounded_up(g)

    def words(self, u: Fraction, unit: str) -> str:
        """'ISO 14253-1, U 0.2 °C'."""
        if self.risk is None:
            return f"{self.rule}, U {_apart(2 * u, unit)}"
        return f"{self.rule}, u {_apart(u, unit)}, risk {self.risk}"


def _difference(value: Any, unit: str, key: str) -> Fraction:
    """As a difference in the reading's unit. Misfit for what is none, and for nothing at all."""
    found = bounds.at(key, lambda: _as_difference(typed(value), unit))
    if found <= 0:
        raise Misfit(f"expected an uncertainty above 0, found {value}", "for example: 0.2 K", (key,))
    return found


def _as_difference(value: Any, unit: str) -> Fraction:
    if not unit or is_number(value):
        return bounds.in_unit(value, difference_unit(unit))
    quantity = Quantity.from_source(value)
    if quantity.unit.dimension in LEVELS:
        advice = f"write {number_text(quantity.number)} dB"
        raise Misfit(f"an uncertainty of a level is a difference, found {quantity}", advice)
    return quantity.difference_to(unit)


def _rounded_up(value: float) -> Fraction:
    step = Fraction(10) ** (math.floor(math.log10(value)) + 1 - _DIGITS)
    return math.ceil(Fraction(value) / step) * step


def _apart(difference: Fraction, unit: str) -> str:
    return shown(as_number(difference), difference_unit(unit))


# --- the limit that is drawn in


def drawn_in(bound: BoundLimit, guard: Guard, kind: str) -> BoundLimit:
    """The limit with its acceptance limits. Misfit where it has no bound to draw in, and where nothing is left between two."""
    if kind not in ("number", "list"):
        raise Misfit("guard applies to numbers only", "take it out, or give the attribute a format", ("guard",))
    u = bounds.at("guard", lambda: guard.standard_in(bound.unit))
    if not (is_number(bound.low) or is_number(bound.high)):
        return bound  # the unit gave a word in place of the bound, which nothing satisfies
    g = guard.band(u, bound.low, bound.high)
    low, high = (_drawn(edge, g, sign) for edge, sign in ((bound.low, 1), (bound.high, -1)))
    if g is None or (low is not None and high is not None and low >= high):
        stated = f"{shown(bound.low, bound.unit)} and {shown(bound.high, bound.unit)}"
        said = f"by {guard.words(u, bound.unit)} the guard bands leave nothing between {stated}"
        raise Misfit(said, "measure with less uncertainty, or widen the limit", ("guard",))
    acceptance = _Acceptance(bound, low, high, guard.words(u, bound.unit))
    return replace(
        bound,
        checks=(*bound.checks, Check(acceptance.words, acceptance.passes, acceptance.explain)),
        low=low,
        high=high,
        stated_low=bound.low,
        stated_high=bound.high,
        guard=acceptance.by,
    )


def _drawn(edge: Any, g: Fraction | None, sign: int) -> Any:
    return as_number(exact(edge) + sign * g) if is_number(edge) and g is not None else None


@dataclass(frozen=True)
class _Acceptance:
    """The check between the stated limits and those that are drawn in."""

    stated: BoundLimit
    low: Any
    high: Any
    by: str

    @property
    def words(self) -> str:
        return f"{self._named} by {self.by}"

    @property
    def _named(self) -> str:
        ends = [shown(edge, self.stated.unit) for edge in (self.low, self.high) if edge is not None]
        return f"acceptance limit {ends[0]}" if len(ends) == 1 else f"acceptance limits {ends[0]} to {ends[1]}"

    def passes(self, value: Any) -> bool:
        if isinstance(value, (list, tuple)):
            return bool(value) and all(self._holds(item) for item in value)
        return self._holds(value)

    def _holds(self, value: Any) -> bool:
        return is_number(value) and not self._is_low(value) and not self._is_high(value)

    def _is_low(self, value: Any) -> bool:
        return self.low is not None and bool(value < self.low or (value == self.low and self.stated.low_open))

    def _is_high(self, value: Any) -> bool:
        return self.high is not None and bool(value > self.high or (value == self.high and self.stated.high_open))

    def explain(self, value: Any) -> str:
        """Of what breaks the stated limit that says enough."""
        if not self.stated.passes(value):
            return self.words
        items = value if isinstance(value, (list, tuple)) else [value]
        worst = max((item for item in items if not self._holds(item)), key=self._beyond)
        edge, relation, stated = self._broken(worst)
        unit, far = self.stated.unit, self._beyond(worst)
        by = f" by {_apart(far, unit)}" if far else ""
        return (
            f"{shown(worst, unit)} is not shown to conform: {relation} the acceptance limit {shown(edge, unit)}{by}, "
            f"of {shown(stated, unit)} by {self.by}"
        )

    def _broken(self, value: Any) -> tuple[Any, str, Any]:
        """The acceptance limit that a value is outside of, how, and the limit behind it."""
        if self._is_low(value):
            return self.low, "not above" if self.stated.low_open else "below", self.stated.low
        return self.high, "not below" if self.stated.high_open else "above", self.stated.high

    def _beyond(self, value: Any) -> Fraction:
        """How far outside the acceptance limits."""
        ends = [] if self.low is None else [exact(self.low) - exact(value)]
        ends += [] if self.high is None else [exact(value) - exact(self.high)]
        return max(ends)
