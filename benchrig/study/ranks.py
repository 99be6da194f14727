"""Order statistics: which of the sorted samples bound a percentile, or a share of all values, whatever their distribution.

With x(1) <= … <= x(n), the number of samples up to the percentile q is Bin(n, q). Where values can be equal, the
confidence is at least the stated one. (David and Nagaraja, Order Statistics, 2003, chapter 7; Wilks, 1941.)
"""

from __future__ import annotations

from benchrig.study.binomial import chance_of_at_most
from benchrig.study.proportion import hits_allowed, trials_needed


def upper_rank(count: int, part: float, confidence: float) -> int | None:
    """The smallest r of which x(r) is at least the percentile, with this confidence; None where not even the largest
    sample is. Above x(r) are n - r samples: so many hits still show that at most 1 - part of all values are there."""
    above = hits_allowed(count, 1 - part, confidence) if count else None
    return None if above is None else count - above


def lower_rank(count: int, part: float, confidence: float) -> int | None:
    """The largest r of which x(r) is at most the percentile, with this confidence; None where not even the smallest is."""
    below = hits_allowed(count, part, confidence) if count else None
    return None if below is None else below + 1


def percentile_ranks(count: int, part: float, confidence: float) -> tuple[int | None, int | None]:
    """(r, s): the percentile is from x(r) to x(s), half of the risk on either side."""
    either = (1 + confidence) / 2
    return lower_rank(count, part, either), upper_rank(count, part, either)


def coverage(count: int, part: float, r: int, s: int) -> float:
    """The chance that the percentile is from x(r) to x(s): P(r <= Bin(n, q) <= s - 1)."""
    return chance_of_at_most(s - 1, count, part) - chance_of_at_most(r - 1, count, part)


def samples_for_tolerance(part: float, confidence: float, left_out: int) -> int | None:
    """The fewest samples whose limits hold this part of all values with this confidence (Wilks), where `left_out` samples
    are beyond the limits or on them: one-sided 1 for the largest, 2 for the second largest; two-sided 2 for smallest and
    largest, 4 for the second ones. None for all values."""
    return trials_needed(1 - part, confidence, left_out - 1)
