"""A crossed gauge study by analysis of variance, a random model of units, appraisers and their interaction.

Montgomery and Runger, Quality Engineering 6 (1993); AIAG, Measurement Systems Analysis, 4th edition, 2010, appendix A. The
intervals are those of `intervals`. The interaction is pooled with the repeatability where nothing speaks for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from benchrig.study.distributions import f_beyond
from benchrig.study.estimate import Unsuitable
from benchrig.study.gauge.components import Components, alone, crossing
from benchrig.study.gauge.crossed import Crossed
from benchrig.study.gauge.intervals import MeanSquare

Source: TypeAlias = Literal["unit", "appraiser", "interaction", "repeatability", "total"]

# The interaction is pooled where its p is above this.
POOLING = 0.25


@dataclass(frozen=True)
class Row:
    """A line of the table of variance; F and p where the source is tested."""

    source: Source
    sum_of_squares: float
    freedom: int
    mean_square: float | None = None
    f: float | None = None
    p: float | None = None


@dataclass(frozen=True)
class Anova:
    """Both models: with the interaction, and without it where there are several appraisers."""

    n: int
    units: int
    appraisers: int
    repeats: int
    confidence: float
    tolerance: float | None
    table: tuple[Row, ...]
    pools: bool
    kept: Components
    pooled: Components | None

    @property
    def chosen(self) -> Components:
        return self.pooled if self.pools and self.pooled else self.kept


def anova(data: Crossed, tolerance: float | None = None, confidence: float = 0.95) -> Anova:
    """Of all values; `tolerance` is the width between the limits, where there are two."""
    if tolerance is not None and not tolerance > 0:
        raise Unsuitable(f"expected a tolerance above 0, found {tolerance:g}")
    counts = len(data.units), len(data.appraisers), data.repeats
    whole = _sums(data)
    squares: dict[str, MeanSquare] = {
        name: MeanSquare(total / freedom, freedom) for name, (total, freedom) in whole.items() if freedom
    }
    if len(data.appraisers) == 1:
        kept = alone(squares["unit"], squares["repeatability"], data.repeats, tolerance, confidence)
        return Anova(data.n, *counts, confidence, tolerance, _rows(whole, "repeatability"), False, kept, None)
    rows = _rows(whole, "interaction")
    p = next(row.p for row in rows if row.source == "interaction")
    kept = crossing(squares, counts, tolerance, confidence, "interaction kept")
    pooled = crossing({**squares, "repeatability": _pool(whole)}, counts, tolerance, confidence, "interaction pooled")
    return Anova(data.n, *counts, confidence, tolerance, rows, p is None or p > POOLING, kept, pooled)


def _sums(data: Crossed) -> dict[Source, tuple[float, int]]:
    """Sums of squares and degrees of freedom. Values are counted from the first one, so that a large offset costs no
    digits; squares of what a mean leaves are never differences of sums."""
    values = np.array(data.values)
    values = values - values.flat[0]
    units, appraisers, repeats = values.shape
    grand, cells = values.mean(), values.mean(axis=2)
    by_unit, by_appraiser = values.mean(axis=(1, 2)), values.mean(axis=(0, 2))
    crossing = cells - by_unit[:, None] - by_appraiser[None, :] + grand
    return {
        "unit": (_square(by_unit - grand) * appraisers * repeats, units - 1),
        "appraiser": (_square(by_appraiser - grand) * units * repeats, appraisers - 1),
        "interaction": (_square(crossing) * repeats, (units - 1) * (appraisers - 1)),
        "repeatability": (_square(values - cells[:, :, None]), units * appraisers * (repeats - 1)),
        "total": (_square(values - grand), values.size - 1),
    }


def _square(values: np.ndarray) -> float:
    return float(np.square(values).sum())


def _pool(whole: dict[Source, tuple[float, int]]) -> MeanSquare:
    total, freedom = (sum(pair) for pair in zip(whole["interaction"], whole["repeatability"], strict=True))
    return MeanSquare(total / freedom, int(freedom))


def _rows(whole: dict[Source, tuple[float, int]], against: Source) -> tuple[Row, ...]:
    """Units and appraisers are tested against the interaction, where there is one; the interaction against the error."""
    tests: dict[Source, Source] = {"unit": against, "appraiser": against, "interaction": "repeatability"}
    return tuple(_row(name, whole, tests.get(name)) for name, (_, freedom) in whole.items() if freedom)


def _row(name: Source, whole: dict[Source, tuple[float, int]], against: Source | None) -> Row:
    total, freedom = whole[name]
    if name == "total":
        return Row(name, total, freedom)
    below, under = whole[against] if against else (0.0, 0)
    if not below:
        return Row(name, total, freedom, total / freedom)
    f = (total / freedom) / (below / under)
    return Row(name, total, freedom, total / freedom, f, f_beyond(f, freedom, under))
