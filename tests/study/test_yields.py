"""Shares of units that passed, with both intervals: published values, statsmodels as a referee; who counts, by hand."""

from __future__ import annotations

import pytest
from statsmodels.stats.proportion import proportion_confint  # type: ignore[import-untyped]

from benchrig.study.yields import first_runs, last_runs, passed_again, passed_of, share_of

# 4 of 20 at 90 %: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1 (exact). The rest: statsmodels and scipy agree.
INTERVALS = [
    (4, 20, 0.90, (0.071354, 0.401029), (0.093118, 0.378377)),
    (4, 20, 0.95, (0.057334, 0.436614), (0.080658, 0.416017)),
    (10, 10, 0.95, (0.691503, 1), (0.722467, 1)),
]


@pytest.mark.parametrize(("passed", "of", "confidence", "exact", "wilson"), INTERVALS)
def test_intervals(
    passed: int, of: int, confidence: float, exact: tuple[float, float], wilson: tuple[float, float]
) -> None:
    share = share_of(passed, of, confidence)
    assert (share.share, share.passed, share.of) == (passed / of, passed, of)
    assert share.exact == pytest.approx(exact, abs=1.1e-6)
    assert share.wilson == pytest.approx(wilson, abs=1.1e-6)


def test_statsmodels_agrees() -> None:
    for passed, of in ((0, 1), (0, 300), (1, 30), (26, 200), (299, 300), (48_211, 50_000)):
        share = share_of(passed, of)
        assert share.exact == pytest.approx(proportion_confint(passed, of, 0.05, "beta"), abs=1e-9)
        assert share.wilson == pytest.approx(proportion_confint(passed, of, 0.05, "wilson"), abs=1e-9)


def test_none_of_none_is_no_share() -> None:
    share = share_of(0, 0)
    assert (share.share, share.exact, share.wilson) == (None, None, None)


def test_first_and_last_runs() -> None:
    units = ["a", "b", "a", "c", "b", "a"]
    passed = [False, True, False, True, False, True]
    assert (first_runs(units), last_runs(units)) == ([0, 1, 3], [3, 4, 5])
    assert (passed_of(passed, first_runs(units)), passed_of(passed, last_runs(units))) == (2, 2)
    assert (first_runs([]), last_runs([])) == ([], [])


def test_who_passed_with_nothing_done_to_it() -> None:
    """Right after a failure and in the same state; a new firmware is something done, one that is not known says nothing."""
    units = ["a", "b", "a", "c", "c", "d", "d", "a", "e", "e", "e"]
    passed = [False, False, True, False, True, False, True, True, False, False, True]
    states = ["1", "1", "1", "1", "2", None, None, "1", "1", "1", "1"]
    assert passed_again(units, passed, states) == [(0, 2), (9, 10)]
