"""The variances behind the mean squares of a gauge study, and what they are parts of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from benchrig.study.distributions import f_ratio
from benchrig.study.estimate import Estimate
from benchrig.study.gauge.intervals import MeanSquare, difference, part_of_gauge, total
from benchrig.study.gauge.rating import categories

Model: TypeAlias = Literal["interaction kept", "interaction pooled", "one appraiser"]
# The width of a distribution, in standard deviations (AIAG, Measurement Systems Analysis, 4th edition).
WIDTH = 6


@dataclass(frozen=True)
class Component:
    """A variance as it is computed, which may be below 0, and its standard deviation, where what is below 0 counts as 0, in
    sums too; that as a part of the total one, and six of them as a part of the tolerance."""

    variance: Estimate
    sd: Estimate
    of_total: Estimate | None
    of_tolerance: Estimate | None


@dataclass(frozen=True)
class Components:
    """With one appraiser there are neither reproducibility nor interaction; pooled, there is no interaction."""

    model: Model
    repeatability: Component
    reproducibility: Component | None
    appraiser: Component | None
    interaction: Component | None
    gauge: Component
    unit: Component
    total: Component
    ndc: int | None
    ndc_exact: float | None
    notes: tuple[str, ...]


def alone(unit: MeanSquare, error: MeanSquare, repeats: int, tolerance: float | None, confidence: float) -> Components:
    """One appraiser: repeatability is all of the gauge."""
    risk = (1 - confidence) / 2
    variances = {
        "repeatability": total([(1.0, error)], confidence),
        "gauge": total([(1.0, error)], confidence),
        "unit": difference(unit, error, repeats, confidence),
        "total": total([(1 / repeats, unit), (1 - 1 / repeats, error)], confidence),
    }
    # exact: the ratio of two mean squares is F distributed
    ratio = unit.value / error.value if error.value else None
    ends = None if ratio is None else tuple(
        max(0.0, (ratio / f_ratio(part, unit.freedom, error.freedom) - 1) / repeats) for part in (1 - risk, risk)
    )  # fmt: skip
    return _components("one appraiser", variances, ends, tolerance)


def crossing(squares: Mapping[str, MeanSquare], counts: tuple[int, int, int], tolerance: float | None,
             confidence: float, model: Model) -> Components:  # fmt: skip
    """Several appraisers; pooled, the error is what units and appraisers are compared with."""
    units, appraisers, repeats = counts
    unit, appraiser, error = squares["unit"], squares["appraiser"], squares["repeatability"]
    kept = model == "interaction kept"
    against = squares["interaction"] if kept else error
    every = units * appraisers * repeats
    # what the variance of the gauge is of each mean square, times units and repeats
    rest = (units - 1, units * (repeats - 1))
    # and that of all, times all
    more = (units * appraisers - units - appraisers, units * appraisers * (repeats - 1))
    gauge = [(1, appraiser), *_parts(rest, against, error, kept)]
    whole = [(units, unit), (appraisers, appraiser), *_parts(more, against, error, kept)]
    variances = {
        "repeatability": total([(1.0, error)], confidence),
        "appraiser": difference(appraiser, against, units * repeats, confidence),
        "gauge": total([(c / (units * repeats), square) for c, square in gauge], confidence),
        "unit": difference(unit, against, appraisers * repeats, confidence),
        "total": total([(c / every, square) for c, square in whole], confidence),
    }
    if kept:
        variances["interaction"] = difference(against, error, repeats, confidence)
    ends = part_of_gauge(unit, appraiser, against, error, counts, confidence)
    return _components(model, variances, ends, tolerance)


def _parts(
    factors: tuple[int, int], against: MeanSquare, error: MeanSquare, kept: bool
) -> list[tuple[int, MeanSquare]]:
    return [(factors[0], against), (factors[1], error)] if kept else [(sum(factors), error)]


def _components(model: Model, variances: dict[str, Estimate], ends: tuple[float, ...] | None,
                tolerance: float | None) -> Components:  # fmt: skip
    """`ends` are those of the variance of units by that of the gauge."""
    parts = _counted(variances)
    whole = parts["total"]
    shares = {}
    if ends is not None:
        shares["gauge"] = (1 / (1 + ends[1]), 1 / (1 + ends[0]))
        shares["unit"] = (ends[0] / (1 + ends[0]), ends[1] / (1 + ends[1]))
    if model == "one appraiser" and "gauge" in shares:
        shares["repeatability"] = shares["gauge"]
    if "appraiser" in variances:
        variances = {**variances, "reproducibility": Estimate(_both(variances))}
    made = {name: _component(each, parts[name], whole, shares.get(name), tolerance) for name, each in variances.items()}
    exact = categories(made["unit"].sd.value, made["gauge"].sd.value)
    return Components(
        model, made["repeatability"], made.get("reproducibility"), made.get("appraiser"), made.get("interaction"),
        made["gauge"], made["unit"], made["total"], None if exact is None else int(exact), exact,
        tuple(_notes(variances, parts)),
    )  # fmt: skip


def _both(variances: Mapping[str, Estimate]) -> float:
    return sum(variances[name].value for name in ("appraiser", "interaction") if name in variances)


def _counted(variances: Mapping[str, Estimate]) -> dict[str, float]:
    """What each counts for: one below 0 counts as 0 before it is added to others (AIAG, Measurement Systems Analysis, 4th
    edition, appendix A), or the gauge would be better than its own repeatability."""
    parts = {name: max(0.0, each.value) for name, each in variances.items()}
    parts["reproducibility"] = parts.get("appraiser", 0.0) + parts.get("interaction", 0.0)
    parts["gauge"] = parts["repeatability"] + parts["reproducibility"]
    parts["total"] = parts["gauge"] + parts["unit"]
    return parts


def _component(
    variance: Estimate, part: float, whole: float, shares: tuple[float, float] | None, tolerance: float | None
) -> Component:
    sd = _around(Estimate(part, variance.low, variance.high)).root()
    share = None
    if whole > 0:
        share = _around(Estimate(part / whole, *(shares or (None, None)))).root()
    return Component(variance, sd, share, None if tolerance is None else sd.scaled(WIDTH / tolerance))


def _around(estimate: Estimate) -> Estimate:
    """The interval is that of the variance as it is computed: the value that counts is in it."""
    low = None if estimate.low is None else min(estimate.low, estimate.value)
    high = None if estimate.high is None else max(estimate.high, estimate.value)
    return Estimate(estimate.value, low, high)


def _notes(variances: Mapping[str, Estimate], parts: Mapping[str, float]) -> list[str]:
    measured = ("unit", "appraiser", "interaction")
    negative = [name for name in measured if name in variances and variances[name].value < 0]
    notes = [
        f"computed variance of {name} is negative and counts as 0: expected where it is small" for name in negative
    ]
    if parts["total"] <= 0:
        notes.append("all values are equal: the resolution is too coarse to show any variation")
    elif parts["gauge"] <= 0:
        notes.append("all values of each unit are equal: the resolution is too coarse to show the gauge's variation")
    return notes
