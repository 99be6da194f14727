"""Gauge studies by averages and ranges: the worked example of the handbook, the constants of its tables."""

from __future__ import annotations

import pytest

from benchrig.study.gauge.ranges import k, range_method
from tests.study.gauge.data import aiag, of


# AIAG, Measurement Systems Analysis, 4th edition (2010), figure III-B 16; recomputed to more digits.
def test_the_aiag_study() -> None:
    found = range_method(aiag(), tolerance=4)
    assert found.appraiser_ranges == pytest.approx((0.184, 0.513, 0.328), abs=5e-4)
    assert found.appraiser_means == pytest.approx((0.190333, 0.068333, -0.254333), abs=1e-6)
    assert (found.mean_range, found.appraiser_difference, found.unit_range) == pytest.approx(
        (0.341667, 0.444667, 3.511111), abs=1e-6
    )
    assert (found.k1, found.k2, found.k3) == pytest.approx((0.5908, 0.5231, 0.3146), abs=5e-5)
    parts = [found.repeatability, found.reproducibility, found.gauge, found.unit, found.total]
    # the handbook rounds the constants to four digits
    assert [part.sd for part in parts if part] == pytest.approx([0.20186, 0.22967, 0.30577, 1.10460, 1.14613], abs=2e-4)
    shares = [17.61, 20.04, 26.68, 96.38, 100]
    assert [100 * (part.of_total or 0) for part in parts if part] == pytest.approx(shares, abs=0.02)
    assert found.gauge.of_tolerance == pytest.approx(6 * 0.30577 / 4, abs=1e-4)
    assert (found.ndc, found.ndc_exact) == (5, pytest.approx(5.09, abs=5e-3))


# The constants of the same book: K1 by trials, K2 by appraisers, K3 by parts.
def test_the_constants() -> None:
    assert [k(size, 30) for size in (2, 3)] == pytest.approx([0.8862, 0.5908], abs=5e-5)
    assert [k(size, 1) for size in (2, 3)] == pytest.approx([0.7071, 0.5231], abs=5e-5)
    by_parts = [0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146]
    assert [k(size, 1) for size in range(2, 11)] == pytest.approx(by_parts, abs=1e-4)


def test_one_appraiser_and_no_variation() -> None:
    alone = range_method(of([[[1.0, 2.0]], [[3.0, 5.0]]]))
    assert (alone.reproducibility, alone.k2, alone.appraiser_difference) == (None, None, None)
    assert alone.gauge == alone.repeatability
    flat = range_method(of([[[1.0, 1.0]] * 2] * 2))
    assert (flat.ndc, flat.gauge.of_total, flat.gauge.sd) == (None, None, 0)
