"""Global risks: figures of JCGM 106, quadrature against the bivariate normal distribution."""

from __future__ import annotations

import math

import pytest
from scipy.stats import gamma, multivariate_normal  # type: ignore[import-untyped]

from benchrig.study.estimate import Unsuitable
from benchrig.study.risks import global_risks, guard_for_consumer_risk, normal

# Limits ±1, a process that is centred: Cp and u by a sixth of the tolerance; then bad units, consumer's and producer's risk
# in ppm for g = 0, 1.645 u, 2 u. Quadrature and the bivariate normal distribution agree on them.
TABLE = [
    (1, 0.1, 2699.80, (295.63, 430.59), (16.617, 2097.64), (6.819, 2641.60)),
    (1, 0.2, 2699.80, (502.92, 1066.84), (30.046, 6144.92), (12.436, 8100.09)),
    (1, 0.3, 2699.80, (651.88, 2011.87), (41.028, 13699.0), (17.112, 18834.6)),
    (1.33, 0.1, 66.07, (10.928, 21.335)),
    (1.33, 0.2, 66.07, (17.031, 66.255)),
    (1.33, 0.3, 66.07, (20.733, 165.30)),
]


@pytest.mark.parametrize(("cp", "ratio", "bad", "risks"), [(cp, ratio, bad, risks) for cp, ratio, bad, *risks in TABLE])
def test_a_centred_process(cp: float, ratio: float, bad: float, risks: list[tuple[float, float]]) -> None:
    u = ratio * 2 / 6
    for g, (consumer, producer) in zip((0, 1.6448536, 2), risks, strict=False):
        found = global_risks(normal(0, 1 / (3 * cp)), u, -1, 1, g * u)
        ppm = [1e6 * each for each in (found.bad, found.consumer, found.producer)]
        assert ppm == pytest.approx([bad, consumer, producer], rel=3e-5, abs=6e-3)


def test_a_process_that_is_wide() -> None:
    found, drawn = (global_risks(normal(0, 0.12), 0.04, -0.2, 0.2, g) for g in (0, 0.08))
    assert (found.consumer, found.producer) == pytest.approx((0.018942, 0.037208), abs=1e-6)
    assert (drawn.consumer, drawn.producer) == pytest.approx((0.000469, 0.247670), abs=1e-6)


def test_ball_bearings() -> None:
    """JCGM 106:2012, clause 9.5.4: true values by a gamma distribution, one limit."""
    process = gamma(4, scale=0.25)
    found = global_risks(process, 0.25, None, 2)
    assert (found.bad, found.consumer) == pytest.approx((0.042380, 0.008019), abs=1e-6)
    g = guard_for_consumer_risk(process, 0.25, None, 2, 0.001)
    assert g == pytest.approx(0.328171, abs=1e-6)
    assert global_risks(process, 0.25, None, 2, g).producer == pytest.approx(0.075494, abs=1e-6)


def test_the_bivariate_normal_distribution_agrees_off_centre() -> None:
    mean, sd, u, low, high = 0.3, 0.4, 0.1, -1.0, 1.0
    truth = multivariate_normal([mean, mean], [[sd**2, sd**2], [sd**2, sd**2 + u**2]])

    def box(a: float, b: float, c: float, d: float) -> float:
        return float(truth.cdf([b, d], lower_limit=[a, c]))

    far = 12.0
    found = global_risks(normal(mean, sd), u, low, high)
    assert found.consumer == pytest.approx(box(-far, low, low, high) + box(high, far, low, high), rel=1e-4)
    assert found.producer == pytest.approx(box(low, high, -far, low) + box(low, high, high, far), rel=1e-4)
    mirrored = global_risks(normal(-mean, sd), u, low, high)
    assert (mirrored.consumer, mirrored.producer) == pytest.approx((found.consumer, found.producer), rel=1e-9)


def test_tiny_risks_keep_their_digits() -> None:
    """Bad units of a process far beyond a limit: hardly one is accepted, and the part is not 0."""
    one = global_risks(normal(2, 0.01), 0.1, None, 1)
    assert one.bad == pytest.approx(1)
    assert one.consumer == pytest.approx(0.5 * math.erfc(1 / math.hypot(0.1, 0.01) / math.sqrt(2)), rel=1e-6)
    both = global_risks(normal(2, 0.01), 0.1, -1, 1)
    assert both.consumer == pytest.approx(one.consumer, rel=1e-9)


def test_a_guard_band_that_is_not_needed_or_leaves_nothing() -> None:
    assert guard_for_consumer_risk(normal(0, 0.1), 0.1, -1, 1, 0.01) == 0
    widest = guard_for_consumer_risk(normal(3, 0.1), 3.0, -1, 1, 1e-9)
    assert 0.99 < widest < 1
    with pytest.raises(ValueError, match="risk above 0"):
        guard_for_consumer_risk(normal(0, 1), 0.1, -1, 1, 0)
    with pytest.raises(Unsuitable, match="leave nothing between -1 and 1"):
        global_risks(normal(0, 1), 0.1, -1, 1, 1.5)
    with pytest.raises(Unsuitable, match="expected a limit"):
        global_risks(normal(0, 1), 0.1, None, None)
