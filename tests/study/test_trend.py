"""The trend: by hand, and how often its interval holds the slope."""

from __future__ import annotations

import numpy as np
import pytest

from benchrig.study.estimate import Unsuitable
from benchrig.study.trend import MOST, trend_of


def test_a_line_with_one_odd_value_has_its_slope() -> None:
    """Of 15 pairs 5 are with the odd one: the median is among the others."""
    trend = trend_of([0, 1, 2, 3, 4, 5], [1.0, 3.0, 5.0, 99.0, 9.0, 11.0])
    assert trend.value == pytest.approx(2.0)


def test_sens_own_numbers() -> None:
    """Sen (1968), section 6: t = 1, 2, 3, 4, 10, 12, 18 and X = 9, 15, 19, 20, 45, 55, 78: slope 4, interval 26/7 to 35/8 at 93 %."""
    trend = trend_of([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78], 0.93)
    assert trend.value == pytest.approx(4.0)
    assert (trend.low, trend.high) == (pytest.approx(26 / 7), pytest.approx(35 / 8))


def test_the_interval_holds_the_slope_as_often_as_it_says() -> None:
    chance, held = np.random.default_rng(5), 0
    for _ in range(300):
        trend = trend_of(np.arange(30), 0.2 * np.arange(30) + chance.normal(size=30))
        assert trend.low is not None
        assert trend.high is not None
        held += trend.low <= 0.2 <= trend.high
    assert 270 <= held <= 297


def test_values_that_never_change_have_no_slope() -> None:
    trend = trend_of(np.arange(20), np.full(20, 5.0))
    assert (trend.value, trend.low, trend.high) == (0.0, 0.0, 0.0)


def test_of_very_many_the_last_ones_count() -> None:
    values = np.concatenate([np.zeros(5000), np.arange(MOST)])
    assert trend_of(np.arange(5000 + MOST), values).value == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("times", "said"), [([1, 2, 3, 4], "expected 5 values or more, found 4"), ([7] * 6, "all values are of one moment")]
)
def test_what_has_no_trend(times: list[int], said: str) -> None:
    with pytest.raises(Unsuitable, match=said):
        trend_of(times, times)
