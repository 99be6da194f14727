"""What a number of hits in so many trials says of the share behind it, and how many trials it takes."""

from __future__ import annotations

import math
from statistics import NormalDist

from benchrig.study.binomial import chance_of_at_most

# Shares that are written in decimals meet their risk to rounding: 1 - 0.95 is not quite 0.05.
_ROUNDING = 1 + 1e-9


def shows_at_most(hits: int, trials: int, share: float, confidence: float) -> bool:
    """Whether the share is shown to be at most this: with a larger one so few hits had a chance of 1 - confidence or less.
    `upper` is the smallest such share."""
    return trials > 0 and chance_of_at_most(hits, trials, share) <= (1 - confidence) * _ROUNDING


def upper(hits: int, trials: int, confidence: float) -> float:
    """The one-sided upper limit of the share: the p with P(X <= hits | trials, p) = 1 - confidence.

    Exact: Clopper and Pearson, Biometrika 26 (1934). Covers the share with the confidence at least.
    """
    _check(hits, trials, confidence)
    if hits == trials:
        return 1.0
    low, high = hits / trials, 1.0
    while low < (middle := (low + high) / 2) < high:
        low, high = (low, middle) if shows_at_most(hits, trials, middle, confidence) else (middle, high)
    return high


def lower(hits: int, trials: int, confidence: float) -> float:
    """The one-sided lower limit of the share: what the upper one of the misses leaves. 0 without hits."""
    return 1 - upper(trials - hits, trials, confidence)


def interval(hits: int, trials: int, confidence: float) -> tuple[float, float]:
    """Both limits (Clopper and Pearson), half of the risk on either side."""
    either = (1 + confidence) / 2
    return lower(hits, trials, either), upper(hits, trials, either)


def wilson(hits: int, trials: int, confidence: float) -> tuple[float, float]:
    """One-sided limits by the score test: (p + z²/2n ∓ z √(p(1-p)/n + z²/4n²)) / (1 + z²/n).

    Wilson, JASA 22 (1927). Covers the confidence on average only, so it tells how large a share is and judges nothing.
    For both sides together pass (1 + confidence) / 2.
    """
    _check(hits, trials, confidence)
    z, share = NormalDist().inv_cdf(confidence), hits / trials
    middle = share + z * z / (2 * trials)
    reach = z * math.sqrt(share * (1 - share) / trials + z * z / (4 * trials * trials))
    whole = 1 + z * z / trials
    return max(0.0, (middle - reach) / whole), min(1.0, (middle + reach) / whole)


def trials_needed(share: float, confidence: float, hits: int = 0) -> int | None:
    """The fewest trials which, with so many hits, show that the share is at most this (success run; demonstration test).

    Without hits n = ln(1 - confidence) / ln(1 - share), rounded up. None where no number does: for a share of 0.
    """
    if share <= 0:
        return None
    if share >= 1:
        return hits + 1
    low, high = hits, hits + 1
    while not shows_at_most(hits, high, share, confidence):
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if shows_at_most(hits, middle, share, confidence) else (middle, high)
    return high


def hits_allowed(trials: int, share: float, confidence: float) -> int | None:
    """The most hits with which so many trials show that the share is at most this; None where not even 0 do."""
    if not shows_at_most(0, trials, share, confidence):
        return None
    low, high = 0, trials
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if shows_at_most(middle, trials, share, confidence) else (low, middle)
    return low


def _check(hits: int, trials: int, confidence: float) -> None:
    if not (0 <= hits <= trials and trials > 0 and 0 < confidence < 1):
        raise ValueError("expected 0 <= hits <= trials, trials above 0, and a confidence between 0 and 1")
