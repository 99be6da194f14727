"""Signs that samples depend on their neighbours, so that they show less than as many independent ones would.

Both look for neighbours that are alike, and raise a false alarm in 1 of 1000 independent series.
"""

from __future__ import annotations

import math

FALSE_ALARM = 0.001
# The normal deviate that is exceeded so often.
_FAR = 3.0902


def hits_cluster(hits: int, trials: int, runs: int) -> bool:
    """Whether the hits come in fewer runs (hits in a row) than chance explains: P(R <= runs | hits, trials) below the false
    alarm, exact, with P(R = r) = C(h - 1, r - 1) C(n - h + 1, r) / C(n, h) (Wald and Wolfowitz, 1940)."""
    if hits < 2 or hits == trials:
        return False
    whole = _log_ways(trials, hits)
    total = 0.0
    for each in range(1, runs + 1):
        total += math.exp(_log_ways(hits - 1, each - 1) + _log_ways(trials - hits + 1, each) - whole)
        if total >= FALSE_ALARM:
            return False
    return True


def _log_ways(n: int, k: int) -> float:
    if not 0 <= k <= n:
        return -math.inf
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def worth(count: int, sum_of_squares: float, squared_steps: float) -> float:
    """How many independent samples so many are worth for their mean; `count` where nothing speaks against independence.

    They count as fewer where each is nearer to the one before than chance explains: the ratio of the squared steps to the
    squares about the mean is 2, with variance 4 (n - 2) / (n² - 1), for independent ones (von Neumann, 1941). Then
    n (1 - r) / (1 + r), as for a first-order autoregression, with r two standard errors above what was seen.
    """
    if count < 4 or sum_of_squares <= 0:
        return count
    ratio = squared_steps / sum_of_squares
    if 2 - ratio <= _FAR * math.sqrt(4 * (count - 2) / (count * count - 1)):
        return count
    correlation = min(1 - ratio / 2 + 2 / math.sqrt(count), 1.0)
    return count * (1 - correlation) / (1 + correlation)
