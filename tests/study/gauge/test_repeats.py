"""The short form of a gauge study."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import ttest_1samp  # type: ignore[import-untyped]

from benchrig.study.estimate import Unsuitable
from benchrig.study.gauge.repeats import repeats


def test_the_ratios_are_those_of_their_definitions() -> None:
    values = np.random.default_rng(1).normal(10.02, 0.05, 50)
    found = repeats(values.tolist(), tolerance=2.0, reference=10.0)
    sd, mean = float(np.std(values, ddof=1)), float(np.mean(values))
    assert found.cg is not None
    assert found.cgk is not None
    assert found.bias is not None
    assert found.of_tolerance is not None
    assert found.cg.value == pytest.approx(0.4 / (6 * sd))
    assert found.cgk.value == pytest.approx((0.2 - abs(mean - 10)) / (3 * sd))
    assert found.of_tolerance.value == pytest.approx(0.2 / found.cg.value)
    ends = ttest_1samp(values, 0).confidence_interval(0.95)
    assert (found.mean.low, found.mean.high) == pytest.approx((ends.low, ends.high))
    # χ² with 49 degrees of freedom at 95 %: 31.5549 and 70.2224 (NIST/SEMATECH e-Handbook 1.3.6.7.4)
    assert (found.sd.low, found.sd.high) == pytest.approx(
        (sd * (49 / 70.2224) ** 0.5, sd * (49 / 31.5549) ** 0.5), rel=1e-5
    )
    assert found.notes == (f"bias of {found.bias.value:g} is not explained by the spread of the values",)


def test_what_a_reader_has_to_know() -> None:
    coarse = repeats([1.0, 2.0, 1.0], tolerance=5, reference=1.3)
    assert coarse.notes == (
        "expected 25 repeats or more, found 3: the intervals are wide",
        "smallest step between values is 1, above 5 % of the tolerance: the resolution is too coarse",
    )
    flat = repeats([1.0] * 30, tolerance=5, reference=2)
    assert (flat.cg, flat.cgk, flat.sd.value, flat.distinct) == (None, None, 0, 1)
    assert flat.notes[0] == "all values are equal: the resolution is too coarse to show the station's spread"
    assert flat.notes[1] == "bias of -1 is not explained by the spread of the values"
    plain = repeats([1.0, 2.0])
    assert (plain.cg, plain.cgk, plain.of_tolerance, plain.bias) == (None, None, None, None)


@pytest.mark.parametrize(("values", "says"), [([], "found 0"), ([1.0], "found 1"), ([1.0, float("inf")], "finite")])
def test_what_is_refused(values: list[float], says: str) -> None:
    with pytest.raises(Unsuitable, match=says):
        repeats(values)
    with pytest.raises(Unsuitable, match="tolerance above 0"):
        repeats([1.0, 2.0], tolerance=-1)
