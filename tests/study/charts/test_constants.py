"""Constants of control charts: the printed tables, and the ranges of simulated samples."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchrig.study.charts.constants import a2, a3, c4, d2, d3, range_limits, sd_limits

# ASTM E2587-16, table 6, and Montgomery, Introduction to Statistical Quality Control, appendix VI, with one more digit by
# quadrature: n, d2, d3, c4, A2, D3, D4, A3, B3, B4.
TABLE = """
2 1.1284 0.8525 0.7979 1.8800 0 3.2665 2.6587 0 3.2665
3 1.6926 0.8884 0.8862 1.0233 0 2.5746 1.9544 0 2.5682
4 2.0588 0.8798 0.9213 0.7286 0 2.2821 1.6281 0 2.2660
5 2.3259 0.8641 0.9400 0.5768 0 2.1145 1.4273 0 2.0890
6 2.5344 0.8480 0.9515 0.4832 0 2.0038 1.2871 0.0304 1.9696
7 2.7044 0.8332 0.9594 0.4193 0.0757 1.9243 1.1819 0.1177 1.8823
8 2.8472 0.8198 0.9650 0.3725 0.1362 1.8638 1.0991 0.1851 1.8149
9 2.9700 0.8078 0.9693 0.3367 0.1840 1.8160 1.0317 0.2391 1.7609
10 3.0775 0.7971 0.9727 0.3083 0.2230 1.7770 0.9754 0.2837 1.7163
15 3.4718 0.7562 0.9823 0.2231 0.3466 1.6534 0.7885 0.4282 1.5718
20 3.7350 0.7287 0.9869 0.1796 0.4147 1.5853 0.6797 0.5102 1.4898
25 3.9306 0.7084 0.9896 0.1526 0.4593 1.5407 0.6063 0.5648 1.4352
"""


@pytest.mark.parametrize("line", TABLE.strip().splitlines())
def test_the_printed_tables(line: str) -> None:
    n, *printed = map(float, line.split())
    size = int(n)
    found = [d2(size), d3(size), c4(size), a2(size), *range_limits(size), a3(size), *sd_limits(size)]
    assert found == pytest.approx(printed, abs=6e-5)


def test_a_range_of_two_has_a_formula() -> None:
    assert (d2(2), d3(2)) == pytest.approx((2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)), rel=1e-12)


def test_many_values() -> None:
    ranges = np.ptp(np.random.default_rng(1).normal(size=(4000, 1000)), axis=1)
    assert (d2(1000), d3(1000)) == pytest.approx((ranges.mean(), ranges.std()), rel=0.03)
    with pytest.raises(ValueError, match="2 values or more"):
        d2(1)
