"""What figures of gauge studies are taken for, with what their intervals do not rule out."""

from __future__ import annotations

from benchrig.study.estimate import Estimate
from benchrig.study.gauge.rating import rated, rated_ratio


def test_the_worst_share_and_the_worst_end_decide() -> None:
    assert rated(Estimate(0.1)) == "acceptable"
    assert rated(Estimate(0.05, 0.02, 0.2)) == "acceptable; the upper end of the interval is conditionally acceptable"
    assert rated(Estimate(0.05, 0.02, 0.9), Estimate(0.2)) == (
        "conditionally acceptable; the upper end of the interval is not acceptable"
    )
    assert rated(Estimate(0.4, 0.3, 0.5), Estimate(0.1)) == "not acceptable"


def test_the_least_ratio_decides() -> None:
    assert rated_ratio(Estimate(1.33)) == "1.33 or more"
    assert rated_ratio(Estimate(1.5, 1.2, 1.9)) == "1.33 or more; the lower end of the interval is below 1.33"
    assert rated_ratio(Estimate(2.0, 1.9, 2.1), Estimate(1.3, 1.2, 1.4)) == "below 1.33"
