"""A limit with a confidence: not the reading has to be within, but all that it may be by the rounds that were seen."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from benchrig.source.shape import Misfit
from benchrig.values.evidence import Estimate, Evidence
from benchrig.values.jsonable import tidy
from benchrig.values.judging import BoundLimit, Judgement, shown
from benchrig.values.quantity import number_text
from benchrig.values.share import Confidence

# The keys that confidence goes with: each side is judged by itself.
SIDES = frozenset({"min", "above", "max", "below", "nominal", "tolerance"})
# Digits of a limit in a sentence.
_DIGITS = 4
_WHERE = "write it at failed_share of a repetition, or at a percentile or mean over its rounds: STEP.READING.p95"


def misfits_of(keys: list[str]) -> Iterator[Misfit]:
    """What is wrong with confidence beside these keys of a limit."""
    others = [key for key in keys if key not in SIDES]
    if others:
        yield Misfit(f"confidence does not apply to {others[0]}", "write min, max or nominal with it", ("confidence",))
    elif not keys:
        yield Misfit("confidence without a bound", "add max or min", ("confidence",))


def no_evidence(name: str) -> Misfit:
    return Misfit(f"confidence does not apply to '{name}'", _WHERE, ("confidence",))


def never_shown(bound: BoundLimit, confidence: Confidence, estimate: Estimate, rounds: int | None) -> Misfit | None:
    """What is wrong where a limit can hold in none of the ways in which so many rounds can end."""
    needed = estimate.rounds_needed(bound.low, bound.high, confidence.part)
    claim = f"{bound.words} at {confidence} confidence"
    if needed is None:
        return Misfit(f"no number of rounds shows {claim}", "write a bound that some rounds may miss")
    if rounds is not None and rounds < needed:
        return Misfit(f"{rounds} rounds cannot show {claim}: at least {needed} are needed", f"write repeat: {needed}")
    return None


def allowance(bound: BoundLimit, confidence: Confidence, estimate: Estimate, rounds: int) -> str:
    """How much so many rounds may differ from perfect ones, for a note; '' where that is no number of rounds."""
    allowed = None if bound.high is None else estimate.misses_allowed(bound.high, rounds, confidence.part)
    if allowed is None:
        return ""
    return f"{bound.words} at {confidence} confidence allows {allowed} of {rounds} rounds {estimate.miss}"


def weighed(bound: BoundLimit, confidence: Confidence, value: Any, evidence: Evidence, place: str) -> Judgement:
    """The upper limit has to be at most the upper bound, the lower one at least the lower bound. The margin is that of the
    limits."""
    low, high = (
        None if edge is None else _Side(bound, confidence, evidence, edge, is_high)
        for is_high, edge in ((False, bound.low), (True, bound.high))
    )
    sides = [side for side in (low, high) if side is not None]
    wrong = [side.complaint for side in sides if not side.holds]
    if evidence.doubt and (not wrong or any(side.limit is None for side in sides)):
        wrong = [evidence.doubt]  # too many failures say more than that they cluster
    low, high = (None, None) if evidence.doubt else (low, high)
    said = " and ".join(wrong or [side.claim for side in sides])
    return Judgement(
        passed=not wrong,
        limit=f"{bound.words} at {confidence} confidence",
        sentence=f"{evidence.seen}: {said}" + ("" if wrong else f", at {confidence} confidence"),
        low=bound.low,
        high=bound.high,
        margin=None if evidence.doubt else _least([side.margin for side in sides]),
        place=place,
        confidence=float(confidence.to("%")),
        at_least=low.limit if low is not None else None,
        at_most=high.limit if high is not None else None,
    )


def _least(margins: list[float | None]) -> float | None:
    known = [margin for margin in margins if margin is not None]
    return min(known) if len(known) == len(margins) else None


class _Side:
    """One bound, and the confidence limit on its side."""

    def __init__(self, bound: BoundLimit, confidence: Confidence, evidence: Evidence, edge: Any, high: bool) -> None:
        self._unit, self._confidence, self._evidence, self._edge, self._high = (
            bound.unit,
            confidence,
            evidence,
            edge,
            high,
        )
        self._open = bound.high_open if high else bound.low_open
        self._limit = evidence.upper(confidence.part) if high else evidence.lower(confidence.part)

    @property
    def limit(self) -> float | None:
        return None if self._limit is None else tidy(self._limit)

    @property
    def margin(self) -> float | None:
        """From the limit to the bound, negative beyond it."""
        if self._limit is None:
            return None
        distance = self._edge - self._limit if self._high else self._limit - self._edge
        return 0.0 if abs(distance) <= 1e-12 * abs(self._edge) else tidy(distance)

    @property
    def holds(self) -> bool:
        margin = self.margin
        return margin is not None and (margin > 0 or (margin == 0 and not self._open))

    @property
    def claim(self) -> str:
        return f"{'at most' if self._high else 'at least'} {self._shown}{self._evidence.verb}"

    @property
    def complaint(self) -> str:
        lacking = self._evidence.lacking(self._edge, self._confidence.part, high=self._high)
        if self._limit is None:
            side = "upper" if self._high else "lower"
            return f"{lacking} for an {side} limit" if self._high else f"{lacking} for a {side} limit"
        way = ("up to", "above") if self._high else ("down to", "below")
        relation = "not " * self._open + (("below" if self._high else "above") if self._open else way[1])
        said = f"{way[0]} {self._shown} may{self._evidence.verb or ' be'} at {self._confidence} confidence, {relation} "
        return said + shown(self._edge, self._unit) + (f"; {lacking}" if lacking else "")

    @property
    def _shown(self) -> str:
        """To the safe side: a limit that is beyond its bound is not shown as if it were on it."""
        assert self._limit is not None
        return f"{number_text(_to_digits(self._limit, self._high))} {self._unit}".rstrip()


def _to_digits(value: float, up: bool) -> float:
    if not value:
        return 0.0
    scale = 10.0 ** (_DIGITS - 1 - math.floor(math.log10(abs(value))))
    near = round(value * scale)
    if abs(near - value * scale) > 1e-9 * abs(near):
        near = math.ceil(value * scale) if up else math.floor(value * scale)
    return near / scale
