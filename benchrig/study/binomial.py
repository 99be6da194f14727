"""The binomial distribution: how often something happens in independent trials, each with the same chance."""

from __future__ import annotations

import math

# Terms below this part of their sum add nothing to a float.
_NOTHING = 1e-18


def chance_of(hits: int, trials: int, share: float) -> float:
    """P(X = hits) for X ~ Bin(trials, share): C(n, k) p^k (1 - p)^(n - k), by logarithms of factorials."""
    if not 0 < share < 1:
        return float(hits == (trials if share >= 1 else 0))
    ways = math.lgamma(trials + 1) - math.lgamma(hits + 1) - math.lgamma(trials - hits + 1)
    return math.exp(ways + hits * math.log(share) + (trials - hits) * math.log1p(-share))


def chance_of_at_most(hits: int, trials: int, share: float) -> float:
    """P(X <= hits) for X ~ Bin(trials, share): the shorter tail is summed, from its largest term on."""
    if hits < 0 or hits >= trials:
        return float(hits >= 0)
    if not 0 < share < 1:
        return float(share <= 0)
    if hits < trials * share:
        return min(1.0, _tail(hits, trials, share))
    return max(0.0, 1.0 - _tail(trials - hits - 1, trials, 1 - share))


def _tail(hits: int, trials: int, share: float) -> float:
    """The terms from `hits` down to 0, which fall where `hits` is below the mean."""
    term = total = chance_of(hits, trials, share)
    odds = (1 - share) / share
    for each in range(hits, 0, -1):
        term *= each / (trials - each + 1) * odds
        total += term
        if term <= total * _NOTHING:  # 0 where the first one is below all floats
            break
    return total
