"""Whether groups of values differ in where they are: Kruskal and Wallis, JASA 47 (1952), with their correction for ties."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from benchrig.study.describe import mean_ranks, numbers_of


def kruskal_wallis(groups: Sequence[ArrayLike]) -> tuple[float, float] | None:
    """H and p, the chance of one as large where all groups are alike; None for fewer than two groups with 5 values or more
    each, or equal values. Smaller groups are left out."""
    from scipy.special import chdtrc  # type: ignore[import-untyped]

    numbers = [each for each in map(numbers_of, groups) if each.size >= 5]
    if len(numbers) < 2:
        return None
    values = np.concatenate(numbers)
    ranks = mean_ranks(values) - (values.size + 1) / 2
    ends = np.cumsum([each.size for each in numbers])[:-1]
    between = math.fsum(part.sum() ** 2 / part.size for part in np.split(ranks, ends))
    square = float(np.square(ranks).sum())
    if not square:
        return None
    found = (values.size - 1) * between / square
    return found, float(chdtrc(len(numbers) - 1, found))
