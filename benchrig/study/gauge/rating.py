"""What a gauge study's figure is taken for (AIAG, Measurement Systems Analysis, 4th edition, 2010, chapter II.D)."""

from __future__ import annotations

from typing import Literal, TypeAlias

from benchrig.study.estimate import Estimate

Rating: TypeAlias = Literal["acceptable", "conditionally acceptable", "not acceptable"]

# What Cg and Cgk should be: in common use, and no rule of a standard.
CAPABLE = 1.33


def rating(share: float) -> Rating:
    """Of the standard deviation of repeatability and reproducibility as a part of the total, or of the tolerance: up to
    10 % it is acceptable, up to 30 % it may be, for its use, its cost."""
    if share <= 0.1:
        return "acceptable"
    return "conditionally acceptable" if share <= 0.3 else "not acceptable"


def rated(*shares: Estimate) -> str:
    """By the worst of them, with what the study does not rule out."""
    value = rating(max(each.value for each in shares))
    ends = [each.high for each in shares if each.high is not None]
    high = rating(max(ends)) if ends else value
    return value if high == value else f"{value}; the upper end of the interval is {high}"


def rated_ratio(*ratios: Estimate) -> str:
    """Of Cg and Cgk, by the least one."""
    low = min(each.value if each.low is None else each.low for each in ratios)
    if min(each.value for each in ratios) < CAPABLE:
        return f"below {CAPABLE:g}"
    return f"{CAPABLE:g} or more" + (f"; the lower end of the interval is below {CAPABLE:g}" if low < CAPABLE else "")


def categories(unit: float, gauge: float) -> float | None:
    """1.41 PV / GRR; the number of distinct categories (ndc) is its whole part. None without any gauge variation."""
    return 1.41 * unit / gauge if gauge > 0 else None
