"""What a gauge study's figure is taken for (AIAG, Measurement Systems Analysis, 4th edition, 2010, chapter II.D)."""

from __future__ import annotations

from typing import Literal, TypeAlias

Rating: TypeAlias = Literal["acceptable", "conditionally acceptable", "not acceptable"]

# How many categories of units the station should tell apart.
CATEGORIES = 5


def rating(share: float) -> Rating:
    """Of the standard deviation of repeatability and reproducibility as a part of the total, or of the tolerance: up to
    10 % it is acceptable, up to 30 % it may be, for its use, its cost."""
    if share <= 0.1:
        return "acceptable"
    return "conditionally acceptable" if share <= 0.3 else "not acceptable"


def categories(unit: float, gauge: float) -> float | None:
    """1.41 PV / GRR; the number of distinct categories (ndc) is its whole part. None without any gauge variation."""
    return 1.41 * unit / gauge if gauge > 0 else None
