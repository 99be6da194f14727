"""What a reading says of the true value, and guard bands: published figures."""

from __future__ import annotations

import pytest

from benchrig.study.conformance import conformance, guard_for_ratio, guard_for_risk

# JCGM 106:2012, clause 8.3.2, with U = 2u: the multiplier r of g = r U, and the conformance probability of a reading on the
# acceptance limit.
BY_RATIO = [(0, 0.5), (0.25, 0.691462), (0.5, 0.841345), (0.75, 0.933193), (0.822427, 0.95), (0.825, 0.950529),
            (1, 0.977250), (1.5, 0.998650)]  # fmt: skip


@pytest.mark.parametrize(("ratio", "expected"), BY_RATIO)
def test_a_reading_on_the_acceptance_limit(ratio: float, expected: float) -> None:
    assert conformance(10 - guard_for_ratio(0.2, ratio), 0.1, None, 10) == pytest.approx(expected, abs=1e-6)
    assert conformance(10 + guard_for_ratio(0.2, ratio), 0.1, 10, None) == pytest.approx(expected, abs=1e-6)


def test_readings_near_an_upper_limit() -> None:
    # an upper limit of 3.300 V, U 0.020 V
    readings = {3.270: 0.998650, 3.280: 0.977250, 3.2835: 0.950529, 3.290: 0.841345, 3.310: 0.158655}
    assert {x: round(conformance(x, 0.01, None, 3.3), 6) for x in readings} == readings
    assert conformance(0, 0.5, -1, 1) == pytest.approx(0.954500, abs=1e-6)


def test_the_guard_band_for_a_risk() -> None:
    assert guard_for_risk(0.01, None, 3.3, 0.05) == pytest.approx(0.01644854, abs=1e-8)
    assert guard_for_risk(0.01, 3.2, None, 0.05) == pytest.approx(0.01644854, abs=1e-8)
    narrow = guard_for_risk(0.5, -1, 1, 0.05)  # the other limit is near: a wider band than 1.645 u
    assert narrow is not None
    assert narrow > 1.645 * 0.5
    assert conformance(1 - narrow, 0.5, -1, 1) == pytest.approx(0.95, abs=1e-12)
    assert guard_for_risk(0.5, -1, 1, 0.04) is None  # 95.45 % in the middle
    assert guard_for_risk(0.01, -1, 1, 0.05) == pytest.approx(0.01644854, abs=1e-8)


def test_what_is_refused() -> None:
    with pytest.raises(ValueError, match="uncertainty above 0, found 0"):
        conformance(1, 0, None, 2)
    with pytest.raises(ValueError, match=r"below 0\.5, found 0\.5"):
        guard_for_risk(1, 0, 10, 0.5)
