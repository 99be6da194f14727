"""The mean behind samples that are near a normal distribution."""

from __future__ import annotations

import math


def reach(count: float, sd: float, confidence: float) -> float:
    """How far the one-sided limit is from the mean of so many samples: t(confidence; n - 1) · sd / √n, `sd` with n - 1 below
    it (Student, 1908; ISO 2602). In the unit of `sd`; ValueError for fewer than two samples. `count` may be what dependent
    samples are worth.

    Exact for a normal distribution. A long tail to the side of the limit makes it too near: exponential values are covered
    in 90 of 100 cases at 30 samples where 95 were asked for.
    """
    from scipy.special import stdtrit  # type: ignore[import-untyped]

    if count < 2 or not 0 < confidence < 1:
        raise ValueError("expected two samples or more, and a confidence between 0 and 1")
    return float(stdtrit(count - 1, confidence)) * sd / math.sqrt(count)
