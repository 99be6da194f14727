"""Capability: worked examples, published intervals, referees, coverage by simulation."""

from __future__ import annotations

import math
from statistics import NormalDist

import msgspec
import numpy as np
import pytest
from scipy.stats import kruskal, lognorm, spearmanr, weibull_min  # type: ignore[import-untyped]

from benchrig.study.capability.capability import capability
from benchrig.study.capability.differences import kruskal_wallis
from benchrig.study.capability.doubts import doubts, repeated, spearman, von_neumann
from benchrig.study.capability.indices import one_sided
from benchrig.study.capability.normality import anderson_darling
from benchrig.study.capability.percentiles import PARTS, by_percentiles, percentile, ratio, sides, worst
from benchrig.study.capability.spread import by_moving_range, pooled
from benchrig.study.distributions import sd_factors
from benchrig.study.estimate import Unsuitable


# NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6: limits 8 and 20, mean 16, standard deviation 2.
def test_the_example_of_the_handbook() -> None:
    found = capability([14, 16, 18], 8, 20)
    whole = found.overall
    assert whole.ratio is not None
    assert whole.lower is not None
    assert whole.upper is not None
    assert (found.mean.value, whole.spread.sd.value, whole.ratio.value) == (16, 2, 1)
    assert (whole.lower.value, whole.upper.value) == pytest.approx((1.3333, 0.6667), abs=5e-5)
    assert whole.worst == whole.upper
    assert found.within.spread.sd.value == pytest.approx(2 / 1.12838, abs=1e-5)
    assert [each.about for each in found.doubts] == ["few values"]
    assert msgspec.json.decode(msgspec.json.encode(found))["overall"]["ratio"]["value"] == 1


# Kane (1986) and Bissell (1990), the formulas of the e-Handbook 6.1.6: an estimate of 1.33 with 95 %.
CP = {30: (0.9894, 1.6700), 50: (1.0673, 1.5922), 100: (1.1449, 1.5148)}
CPK = {30: (0.9675, 1.6925), 50: (1.0509, 1.6091), 100: (1.1336, 1.5264)}


@pytest.mark.parametrize("n", CP)
def test_published_intervals(n: int) -> None:
    low, high = sd_factors(n - 1, 0.95)
    assert (1.33 / high, 1.33 / low) == pytest.approx(CP[n], abs=5e-5)
    found = one_sided(1.33, n, n - 1, 0.95)
    assert (found.low, found.high) == pytest.approx(CPK[n], abs=6e-5)


# The part beyond two limits of a centred normal process by its Cp (e-Handbook 6.1.6).
@pytest.mark.parametrize(("cp", "part"), [(1.0, 2.6998e-3), (4 / 3, 63.34e-6), (5 / 3, 0.5733e-6), (2.0, 1.973e-9)])
def test_the_fitted_part_outside(cp: float, part: float) -> None:
    values = np.array([NormalDist().inv_cdf((at + 0.5) / 200) for at in range(200)])
    sd = float(values.std(ddof=1))
    found = capability(values, -3 * cp * sd, 3 * cp * sd).outside
    assert found.fitted is not None
    assert found.fitted.value == pytest.approx(part, rel=2e-4)
    assert found.fitted.low is not None
    assert found.fitted.high is not None
    assert found.fitted.low < found.fitted.value < found.fitted.high
    # none of 200 seen: the exact interval ends at 1 - 0.025^(1/200)
    assert (found.observed.value, found.observed.high) == (0, pytest.approx(1 - 0.025 ** (1 / 200)))


def test_values_outside_are_counted_on_each_side() -> None:
    found = capability([0.0, 1.0, 2.0, 3.0, 4.0, 5.0], 1.0, 3.0).outside
    assert (found.below, found.above, found.observed.value) == (1, 2, 0.5)


def test_a_value_on_a_limit_is_outside_where_it_failed() -> None:
    values, failed = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0], [True, True, True, True, True, True]
    assert capability(values, 1.0, 3.0, failed=failed).outside.below == 2
    assert capability(values, 1.0, 3.0, failed=failed).outside.above == 3
    # what is within does not come to be outside by it
    assert capability(values, None, 5.0, failed=[True] * 5 + [False]).outside.above == 0


def test_one_limit_has_no_cp() -> None:
    values = np.random.default_rng(1).normal(0, 1, 200)
    upper, lower = capability(values, None, 3.0), capability(values, -3.0, None)
    assert (upper.within.ratio, upper.overall.ratio, upper.within.lower) == (None, None, None)
    assert upper.within.worst == upper.within.upper
    assert (lower.overall.upper, lower.overall.worst) == (None, lower.overall.lower)
    # of one limit the fitted part has all of the risk: its ends are those of the index
    assert upper.outside.fitted is not None
    assert upper.overall.worst is not None
    assert upper.outside.fitted.high == pytest.approx(NormalDist().cdf(-3 * (upper.overall.worst.low or 0)))


def test_equal_values_have_no_index_and_are_said_to_be_coarse() -> None:
    found = capability([5.0] * 40, 4, 6)
    assert (found.within.worst, found.overall.ratio, found.outside.fitted) == (None, None, None)
    assert [each.about for each in found.doubts] == ["too coarse"]


def test_what_is_refused() -> None:
    for low, high, says in (
        (None, None, "expected a limit"),
        (3, 3, "limits with a width"),
        (4, 3, "limits with a width"),
    ):
        with pytest.raises(Unsuitable, match=says):
            capability([1.0, 2.0], low, high)
    with pytest.raises(Unsuitable, match="2 values or more, found 1"):
        capability([1.0], 0, 2)
    with pytest.raises(Unsuitable, match="subgroup of 2 values"):
        capability([1.0, 2.0], 0, 2, [[1.0], [2.0]])


def test_the_moving_range_does_not_see_a_drift_and_the_pooled_deviation_no_difference_of_groups() -> None:
    drifting = np.random.default_rng(2).normal(0, 1, 400) + np.linspace(0, 12, 400)
    assert by_moving_range(drifting).sd.value == pytest.approx(1, rel=0.15)
    groups = [np.random.default_rng(seed).normal(5 * seed, 1, 100) for seed in range(5)]
    assert pooled(groups).sd.value == pytest.approx(1, rel=0.1)
    assert pooled(groups).freedom == 495
    found = capability(drifting, -20, 30)
    assert found.within.worst is not None
    assert found.overall.worst is not None
    assert found.within.worst.value > 3 * found.overall.worst.value
    assert {each.test.split(",")[0] for each in found.doubts if each.test} >= {"Spearman", "von Neumann"}


def test_the_freedom_of_moving_ranges() -> None:
    """0.605 of that of the standard deviation, of many values (Cryer and Ryan, 1990); of few by simulation."""
    assert by_moving_range(np.arange(100_001.0)).freedom == pytest.approx(0.605 * 100_000, rel=1e-3)
    values = np.random.default_rng(4).normal(size=(40_000, 10))
    means = np.abs(np.diff(values, axis=1)).mean(axis=1)
    assert by_moving_range(np.arange(10.0)).freedom == pytest.approx(means.mean() ** 2 / means.var() / 2, rel=0.03)


# --- percentiles (ISO 22514-2): X0.135, X50, X99.865 of known distributions; Pp, Ppk of the upper and the lower limit
KNOWN = [
    (lognorm(0.25), 0.3, 2.5, (0.472369, 1, 2.116988), (1.337696, 1.342897, 1.326685)),
    (weibull_min(2), 0, 3, (0.036755, 0.832555, 2.570535), (1.184002, 1.247106, 1.046186)),
]


@pytest.mark.parametrize(("distribution", "low", "high", "x", "expected"), KNOWN)
def test_percentiles_of_known_distributions(distribution, low, high, x, expected) -> None:
    at = [float(distribution.ppf(part)) for part in PARTS]
    assert at == pytest.approx(x, abs=1e-6)
    lower, upper = sides(at, low, high)
    assert (ratio(at, low, high), upper, lower) == pytest.approx(expected, abs=1e-6)
    assert worst(at, low, high) == lower
    drawn = by_percentiles(distribution.rvs(20_000, random_state=1), low, high)
    assert drawn.worst is not None
    assert drawn.worst.low is not None
    assert drawn.worst.high is not None
    assert drawn.worst.low < expected[2] < drawn.worst.high
    assert ratio(at, None, high) is None
    assert sides([1, 1, 1], low, high) == (None, None)


def test_the_estimator_is_named_and_few_values_have_no_percentile() -> None:
    # of 1 to 1000 the percentile 99.865 by Weibull's plotting positions; the type 7 of R would be 998.65135
    assert percentile(np.arange(1.0, 1001), 0.99865, 0.95).value == pytest.approx(999.64865)
    few = by_percentiles(np.random.default_rng(1).normal(size=740), -4, 4)
    assert (few.high.high, few.worst is not None and few.worst.low) == (None, None)
    with pytest.raises(Unsuitable, match="expected 740 values or more"):
        by_percentiles(np.zeros(739), -4, 4)
    assert by_percentiles(np.zeros(740), -4, 4).worst is None


# --- doubts, each beside a referee


@pytest.mark.slow  # statsmodels takes long to import
@pytest.mark.parametrize("size", [8, 30, 1000])
def test_statsmodels_has_the_same_anderson_darling(size: int) -> None:
    from statsmodels.stats.diagnostic import normal_ad  # type: ignore[import-untyped]

    chance = np.random.default_rng(size)
    for values in (chance.normal(3, 2, size), chance.exponential(1, size), chance.uniform(0, 1, size)):
        statistic, p = normal_ad(values)
        found = anderson_darling(values)
        assert found is not None
        assert found[0] == pytest.approx(statistic * (1 + 0.75 / size + 2.25 / size**2))
        assert found[1] == pytest.approx(p, rel=1e-6, abs=1e-300)
    assert anderson_darling([1.0] * 10) is None
    assert anderson_darling([1.0, 2.0]) is None


def test_scipy_has_the_same_trend_and_the_same_difference_of_groups() -> None:
    chance = np.random.default_rng(1)
    for size in (10, 57):
        values = np.round(chance.normal(0, 1, size), 1) + np.arange(size) / size
        found, referee = spearman(values), spearmanr(values, np.arange(size))
        assert found == pytest.approx((referee.statistic, referee.pvalue))
    assert spearman(np.arange(10.0)) == (1, 0)
    assert spearman(np.zeros(10)) is None
    groups = [np.round(chance.normal(at / 3, 1, 20), 1) for at in range(3)]
    referee = kruskal(*groups)
    assert kruskal_wallis([*groups, [100.0]]) == pytest.approx((referee.statistic, referee.pvalue))
    assert kruskal_wallis([groups[0]]) is None
    assert kruskal_wallis([[1.0] * 5, [1.0] * 5]) is None


def test_each_doubt_speaks_of_what_is_wrong_alone() -> None:
    chance = np.random.default_rng(11)
    sound = chance.normal(10, 1, 300)

    def about(values: np.ndarray) -> list[str]:
        return [each.about for each in doubts(values, by_moving_range(values).sd.value)]

    assert about(sound) == []
    assert about(sound[:20]) == ["few values"]
    assert about(chance.exponential(1, 300)) == ["not normal"]
    assert about(np.concatenate([sound[:150], sound[150:] + 0.8])).count("drift") == 2
    assert "too coarse" in about(np.round(sound / 2) * 2)
    assert "too coarse" in about(np.round(sound * 0.2) / 0.2)
    assert about(np.round(sound, 1) + 1e-13 * chance.normal(size=300)) == []  # what floats leave is no fine resolution


def test_units_that_were_measured_again() -> None:
    def says(*units: str) -> list[str]:
        return [each.says.partition(":")[0] for each in repeated(units)]

    assert says("A", "B", "C") == says("A") == []
    assert says("A", "B", "A") == ["found 3 values of 2 units"]
    assert says("A", "A") == ["all 2 values are of one unit"]
    assert says("A", "", "") == ["the unit of 2 of 3 values is unknown"]


def test_doubts_are_raised_as_often_as_they_say() -> None:
    """Of sound values each test raises a false alarm in 1 of 100."""
    chance = np.random.default_rng(5)
    raised = dict.fromkeys(("not normal", "Spearman", "von Neumann"), 0)
    for _ in range(1000):
        for each in doubts(chance.normal(0, 1, 50), 1.0):
            raised["not normal" if each.about == "not normal" else (each.test or "").partition(",")[0]] += 1
    assert all(count <= 25 for count in raised.values()), raised
    assert sum(raised.values()) >= 10
    assert von_neumann(np.zeros(20)) is None


@pytest.mark.slow
@pytest.mark.parametrize("n", [30, 100])
def test_intervals_cover_as_often_as_they_say(n: int) -> None:
    """Own simulation: 3000 samples of a process with a known Cp of 1.2, its mean half a deviation off."""
    chance, counts = np.random.default_rng(n), dict.fromkeys(("Cp", "Cpk", "Pp", "Ppk", "outside", "fitted"), 0)
    low, high = -3.6, 3.6
    truth = {"Cp": 1.2, "Cpk": 3.1 / 3, "Pp": 1.2, "Ppk": 3.1 / 3}
    part = NormalDist().cdf(-3.1) + NormalDist().cdf(-4.1)
    for _ in range(3000):
        found = capability(chance.normal(0.5, 1, n), low, high)
        ends = {"Cp": found.within.ratio, "Cpk": found.within.worst, "Pp": found.overall.ratio, "Ppk": found.overall.worst,
                "outside": found.outside.observed, "fitted": found.outside.fitted}  # fmt: skip
        for name, end in ends.items():
            assert end is not None
            counts[name] += (end.low or 0) <= truth.get(name, part) <= (end.high or math.inf)
    assert all(count / 3000 >= 0.935 for count in counts.values()), counts
