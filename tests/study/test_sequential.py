"""Wald's sequential test: bounds, traces and means of the textbook, error rates and truncation exactly."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import accumulate

import pytest

from benchrig.study.sequential import Decision, Sequential, characteristic, courses, trials_needed

# Wald, Sequential Analysis (1947), chapter 5: p0 5 %, p1 20 %, α 5 %, β 10 %.
WALD = Sequential.wald(0.05, 0.20, 0.05, 0.10)
STRICT = Sequential.strict(0.05, 0.20, 0.05, 0.10)


def test_bounds_and_steps() -> None:
    assert (WALD.high, WALD.low) == pytest.approx((2.890372, -2.251292), abs=5e-7)
    assert (WALD.per_failure, WALD.per_pass) == pytest.approx((1.386294, -0.171850), abs=5e-7)
    assert WALD.lines == pytest.approx((0.110292, 1.444854, 1.855009), abs=5e-7)
    assert (STRICT.high, STRICT.low) == pytest.approx((math.log(20), math.log(0.1)))


@pytest.mark.parametrize(
    ("trials", "accept", "reject"),
    [(3, None, 3), (10, None, 3), (14, 0, 4), (20, 0, 5), (30, 1, 6), (40, 2, 7), (50, 4, 8)],
)
def test_acceptance_and_rejection_numbers(trials: int, accept: int | None, reject: int) -> None:
    assert (WALD.accepts_at(trials), WALD.rejects_at(trials)) == (accept, reject)
    decided = [WALD.decision(trials, failures) for failures in range(trials + 1)]
    assert decided.count("accepted") == (0 if accept is None else accept + 1)
    assert decided.index("rejected") == reject
    assert WALD.rejects_at(2) is None


@pytest.mark.parametrize(
    ("trace", "at", "ratio", "decision"),
    [
        ("0" * 20, 14, -2.405904, "accepted"),
        ("111", 3, 3 * 1.386294, "rejected"),
        ("0000010101", 10, 2.955931, "rejected"),
        ("000001" + "0" * 30, 23, -2.394411, "accepted"),
        ("101", 3, 2.600738, "undecided"),
    ],
)
def test_traces(trace: str, at: int, ratio: float, decision: Decision) -> None:
    failures = [*accumulate(map(int, trace))]
    decided = [WALD.decision(trials, failed) for trials, failed in enumerate(failures, 1)]
    ends = next((n for n, each in enumerate(decided, 1) if each != "undecided"), len(trace))
    assert (ends, decided[ends - 1]) == (at, decision)
    assert WALD.ratio(ends, failures[ends - 1]) == pytest.approx(ratio, abs=2e-6)


def test_means_by_walds_approximation() -> None:
    shares = (0.05, WALD.lines[0], 0.20)
    assert [WALD.mean_trials(share) for share in shares] == pytest.approx([21.228, 27.314, 17.000], abs=5e-4)


# Share, chance to be accepted and mean number of trials, from a dynamic programme in exact fractions (`enumerated` below).
EXACT = [(0.05, 0.969213, 23.6025), (0.10, 0.681165, 33.8302), (0.20, 0.088508, 20.9654)]


@pytest.mark.parametrize(("share", "accepted", "mean"), EXACT)
def test_the_operating_characteristic(share: float, accepted: float, mean: float) -> None:
    found = characteristic(WALD, share)
    assert found.accepted == pytest.approx(accepted, abs=1e-6)
    assert found.mean_trials == pytest.approx(mean, abs=5e-5)
    assert found.accepted + found.rejected == pytest.approx(1)


def enumerated(test: Sequential, share: Fraction, most: int) -> tuple[Fraction, Fraction]:
    """(accepted, rejected) by then: every walk, in exact fractions."""
    ways, accepted, rejected = {0: Fraction(1)}, Fraction(0), Fraction(0)
    for trials in range(1, most + 1):
        after = {
            k: ways.get(k, Fraction(0)) * (1 - share) + ways.get(k - 1, Fraction(0)) * share for k in range(trials + 1)
        }
        accepted += sum(after[k] for k in after if test.decision(trials, k) == "accepted")
        rejected += sum(after[k] for k in after if test.decision(trials, k) == "rejected")
        ways = {k: each for k, each in after.items() if test.decision(trials, k) == "undecided" and each}
    return accepted, rejected


@pytest.mark.parametrize("most", [13, 14, 40])
def test_a_test_that_is_cut_off(most: int) -> None:
    for share in (Fraction(1, 20), Fraction(1, 5)):
        found = characteristic(STRICT, float(share), most)
        accepted, rejected = enumerated(STRICT, share, most)
        assert (found.accepted, found.rejected) == pytest.approx((float(accepted), float(rejected)), abs=1e-12)
        assert found.trials == most


SHARES = [(0.05, 0.20), (0.01, 0.03), (0.001, 0.01), (0.3, 0.5), (0.02, 0.9)]


@pytest.mark.parametrize(("acceptable", "rejectable"), SHARES)
@pytest.mark.parametrize(("producer", "consumer"), [(0.05, 0.10), (0.10, 0.05), (0.01, 0.01), (0.3, 0.3)])
def test_strict_bounds_keep_both_risks(acceptable: float, rejectable: float, producer: float, consumer: float) -> None:
    """Wald's keep the sum of both, and may exceed one."""
    strict = Sequential.strict(acceptable, rejectable, producer, consumer)
    assert characteristic(strict, acceptable).rejected <= producer
    assert characteristic(strict, rejectable).accepted <= consumer
    wald = Sequential.wald(acceptable, rejectable, producer, consumer)
    wrong = characteristic(wald, acceptable).rejected + characteristic(wald, rejectable).accepted
    assert wrong <= producer + consumer


def test_the_trials_that_keep_the_risk_of_the_producer() -> None:
    needed = trials_needed(STRICT, 0.05)
    assert needed == 68
    assert characteristic(STRICT, 0.05, needed).accepted >= 0.95
    assert characteristic(STRICT, 0.05, needed - 1).accepted < 0.95
    assert trials_needed(WALD, 0.001) is None


def test_courses_go_on_from_trial_to_trial() -> None:
    first, second = (course for course, _ in zip(courses(STRICT, 0.2), range(2), strict=False))
    assert (first.trials, first.undecided, first.mean_trials) == (1, 1, 1)
    assert (second.trials, second.mean_trials) == (2, 2)


@pytest.mark.parametrize(
    "wrong", [(0.2, 0.1, 0.05, 0.1), (0, 0.1, 0.05, 0.1), (0.1, 1, 0.05, 0.1), (0.1, 0.2, 0.6, 0.6)]
)
def test_what_is_no_test(wrong: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match="expected"):
        Sequential.wald(*wrong)
