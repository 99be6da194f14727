"""Charts of individual values and of subgroups."""

from __future__ import annotations

import numpy as np
import pytest

from benchrig.study.charts.individuals import individuals
from benchrig.study.charts.subgroups import subgroups
from benchrig.study.estimate import Unsuitable


# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: flow rate of ten batches, mean 50.81, mean moving range 1.8778.
def test_the_individuals_of_the_handbook() -> None:
    found = individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    assert found.values.centre == pytest.approx(50.81)
    assert found.moving.centre == pytest.approx(1.8778, abs=5e-5)
    assert (found.values.low, found.values.high) == pytest.approx((45.8187, 55.8041), abs=5e-3)
    assert (found.moving.high, found.moving_beyond) == (pytest.approx(3.2665 * 1.8778, abs=1e-3), ())
    assert found.signals == ()


def test_a_jump_is_seen_in_value_and_moving_range() -> None:
    values = [10.0, 10.1, 9.9, 10.0, 10.1, 9.9, 10.0, 10.1, 9.9, 12.0, 10.0, 9.9, 10.1]
    found = individuals(values)
    assert found.moving_beyond == (9, 10)
    assert "Nelson 1" in {each.rule for each in individuals(values * 4).signals}
    assert individuals([1.0, 1.0, 1.0]).signals == ()
    with pytest.raises(Unsuitable, match="found 1"):
        individuals([1.0])


def test_subgroups_have_the_limits_of_the_printed_constants() -> None:
    groups = np.random.default_rng(5).normal(20, 2, (25, 5))
    found = subgroups(list(groups))
    mean_range = np.ptp(groups, axis=1).mean()
    first = found.groups[0]
    assert (found.spread_is, found.n, found.centre) == ("range", 125, pytest.approx(groups.mean()))
    # A2 0.577, D4 2.114 (ASTM E2587-16, table 6)
    assert first.mean_lines.high - first.mean_lines.centre == pytest.approx(0.5768 * mean_range, rel=1e-4)
    assert (first.spread_lines.low, first.spread_lines.high) == (0, pytest.approx(2.1145 * mean_range, rel=1e-4))
    wide = subgroups([*groups, np.array([0.0, 40.0, 20.0, 20.0, 20.0]), np.full(5, 40.0)])
    assert wide.spread_beyond == (25,)
    assert ("Nelson 1", (26,)) in {(each.rule, each.at) for each in wide.signals}


def test_large_subgroups_of_different_sizes() -> None:
    chance = np.random.default_rng(6)
    groups = [chance.normal(5, 1, size) for size in (12, 30, 12, 50)]
    found = subgroups(groups)
    assert (found.spread_is, found.sigma) == ("standard deviation", pytest.approx(1, rel=0.1))
    widths = [each.mean_lines.high - each.mean_lines.low for each in found.groups]
    assert widths[0] == widths[2] > widths[1] > widths[3]
    with pytest.raises(Unsuitable, match="2 values or more each"):
        subgroups([[1.0, 2.0], [3.0]])
    assert subgroups([[1.0, 1.0]] * 9).signals == ()
