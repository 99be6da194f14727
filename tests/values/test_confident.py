"""Limits with a confidence: what their sentences say, which evidence shows what, and which shows nothing."""

from __future__ import annotations

import random

import pytest
from scipy.stats import binom  # type: ignore[import-untyped]

from benchrig.source.problem import Problems
from benchrig.source.shape import Misfit, Reader
from benchrig.source.yaml import read_text
from benchrig.study.ranks import upper_rank
from benchrig.values.evidence import (
    Averaged,
    Evidence,
    Failures,
    Hits,
    MeanOf,
    Neighbours,
    PercentileOf,
    Ranked,
    ShareOf,
)
from benchrig.values.judging import Judgement
from benchrig.values.limit import ReadingLimit
from benchrig.values.statistics import Percentiles


def limit(text: str) -> ReadingLimit:
    problems = Problems()
    read: ReadingLimit = Reader(problems).read(read_text(text, "test.yaml", problems), ReadingLimit)
    problems.raise_if_any()
    return read


def weighed(text: str, unit: str, evidence: Evidence | None) -> Judgement:
    written = limit(text)
    found = written.weigh(written.bind("number", unit), "reading", 0, evidence, "plan.yaml:7")
    assert found is not None
    return found


def ranked(numbers: list[float], part: float, missing: int = 0) -> Ranked:
    percentiles = Percentiles()
    for number in numbers:
        percentiles.add(number)
    return Ranked("p", "5 s", len(numbers), missing, part, percentiles.at)


TO_100 = [float(number) for number in range(1, 101)]
MEAN = Averaged("mean", "5 s", 100, 0, 5.0, 1.0, 100)
SAID = [
    # limit, unit, evidence, whether it holds, what is said, margin
    ("{max: 1 %}", "%", Failures(0, 299, 0), True, "0 of 299 rounds failed: at most 0.997 % fail, at 95 % confidence", 0.00308532104),
    ("{below: 1 %}", "%", Failures(0, 299, 0), True, "at most 0.997 % fail", 0.00308532104),
    ("{max: 1 %}", "%", Failures(0, 298, 0), False, "up to 1.001 % may fail at 95 % confidence, above 1 %; with 0 failed it takes 299 rounds", -0.000243),
    ("{max: 1 %}", "%", Failures(5, 299, 5), False, "5 of 299 rounds failed: up to 3.484 % may fail at 95 % confidence, above 1 %", -2.4837),
    ("{max: 1 %}", "%", Failures(0, 1, 0), False, "0 of 1 round failed: up to 95 % may fail", -94),
    ("{min: 10 %}", "%", Failures(30, 100, 25), True, "30 of 100 rounds failed: at least 22.49 % fail, at 95 % confidence", 12.49),
    ("{min: 30 %}", "%", Failures(30, 100, 25), False, "down to 22.49 % may fail at 95 % confidence, below 30 %", -7.51),
    ("{nominal: 5 s, tolerance: 0.2 s}", "s", MEAN, True, "at least 4.833 s and at most 5.167 s, at 95 % confidence", 0.034),
    ("{nominal: 5 s, tolerance: 0.1 s}", "s", MEAN, False, "down to 4.833 s may be at 95 % confidence, below 4.9 s and up to 5.167 s may be at", -0.066),
    ("{max: 100 s}", "s", ranked(TO_100, 0.95), True, "p of 100 values is 5 s: at most 99 s, at 95 % confidence", 1),
    ("{max: 99 s}", "s", ranked(TO_100, 0.95), True, "at most 99 s", 0),
    ("{below: 99 s}", "s", ranked(TO_100, 0.95), False, "up to 99 s may be at 95 % confidence, not below 99 s", 0),
    ("{max: 98 s}", "s", ranked(TO_100, 0.95), False, "up to 99 s may be", -1),
    ("{min: 91 s}", "s", ranked(TO_100, 0.95), True, "at least 91 s", 0),
    ("{max: 100 s}", "s", ranked(TO_100, 0.95, 1), True, "1 round gave none: at most 100 s", 0),
    ("{max: 100 s}", "s", ranked(TO_100, 0.95, 2), False, "2 rounds gave none: it takes 124 rounds for an upper limit", None),
    ("{min: 92 s}", "s", ranked(TO_100, 0.95, 2), False, "down to 91 s may be at 95 % confidence, below 92 s", -1),
    ("{max: 100 s}", "s", ranked(TO_100[:58], 0.95), False, "it takes 59 rounds for an upper limit", None),
    ("{min: 1 s}", "s", ranked([3.0], 0.5), False, "it takes 5 rounds for a lower limit", None),
]  # fmt: skip


@pytest.mark.parametrize(("text", "unit", "evidence", "holds", "said", "margin"), SAID)
def test_what_is_said(text: str, unit: str, evidence: Evidence, holds: bool, said: str, margin: float | None) -> None:
    found = weighed(text.replace("}", ", confidence: 95 %}"), unit, evidence)
    assert found.passed == holds
    assert said in found.sentence
    assert found.limit.endswith(" at 95 % confidence")
    assert found.margin == (None if margin is None else pytest.approx(margin, rel=1e-2, abs=1e-12))
    assert (found.confidence, found.place) == (95, "plan.yaml:7")


DOUBTS: list[tuple[Evidence, str]] = [
    (Failures(4, 628, 1), "4 of 628 rounds failed: in 1 group, so the rounds depend on one another"),
    (Averaged("mean", "5 s", 100, 2, 5.0, 1.0, 100), "2 rounds gave none: the mean of the others says nothing of these"),
    (Averaged("mean", "5 s", 100, 0, 5.0, 0.0, 100), "all values are equal, so how far they spread is unknown"),
    (Averaged("mean", "5 s", 100, 0, 5.0, 1.0, 1.5), "each value is near the one before, so the rounds depend on one another"),
    (Averaged("mean", "5 s", 29, 0, 5.0, 1.0, 29), "it takes 30 rounds for an upper limit"),
]  # fmt: skip


@pytest.mark.parametrize(("evidence", "said"), DOUBTS)
def test_what_shows_nothing(evidence: Evidence, said: str) -> None:
    found = weighed("{max: 99 %, confidence: 95 %}", "%", evidence)
    assert not found.passed
    assert said in found.sentence
    assert (found.margin, found.at_most) == (None, None)


def test_without_rounds_nothing_is_weighed() -> None:
    with pytest.raises(Misfit, match="confidence does not apply to 'reading'"):
        weighed("{max: 9 s, confidence: 95 %}", "s", None)
    plain = limit("{max: 9 s}")
    assert plain.weigh(plain.bind("number", "s"), "reading", 0, None, "") is None
    assert limit("{max: 9 s, confidence: 99 %}").in_words == "max 9 s at 99 % confidence"


def test_values_beyond_a_bound_that_cluster() -> None:
    above = Hits()
    for number in range(200):
        above.add(hit=100 <= number < 103)
    evidence = Ranked("p90", "5 s", 200, 0, 0.9, lambda rank, high: float(rank), (Hits(), above))
    assert weighed("{max: 999 s, confidence: 95 %}", "s", evidence).sentence.endswith(
        "3 are beyond a bound, in 1 group, so the rounds depend on one another"
    )


def test_neighbours() -> None:
    chance, independent, walk, at = random.Random(3), Neighbours(), Neighbours(), 0.0
    for _ in range(200):
        independent.add(chance.gauss(0, 1))
        at += chance.gauss(0, 1)
        walk.add(at)
    assert independent.worth(200, 1.0) == 200
    assert walk.worth(200, 5.0) < 20


ESTIMATES = [
    (ShareOf(), None, 1, 299), (ShareOf(), 1, None, 1), (ShareOf(), 0, 1, 299), (ShareOf(), None, 0, None),
    (PercentileOf(0.95), None, 1, 59), (PercentileOf(0.95), 1, None, 1), (PercentileOf(0.5), 1, 2, 5), (MeanOf(), 1, 2, 30),
]  # fmt: skip


@pytest.mark.parametrize(("estimate", "low", "high", "needed"), ESTIMATES)
def test_rounds_that_are_needed(
    estimate: ShareOf | PercentileOf | MeanOf, low: float, high: float, needed: int
) -> None:
    assert estimate.rounds_needed(low, high, 0.95) == needed


def test_a_percentile_of_many_values_is_never_too_low() -> None:
    """In classes of 2 % its limit is the safe edge: exact values below them pass at least as easily."""
    chance = random.Random(5)
    numbers = sorted(chance.lognormvariate(0, 1) for _ in range(3000))
    evidence, rank = ranked(numbers, 0.95), upper_rank(3000, 0.95, 0.95)
    assert rank is not None
    assert binom.cdf(rank - 1, 3000, 0.95) >= 0.95
    limit, below = evidence.upper(0.95), evidence.lower(0.95)
    assert limit is not None
    assert below is not None
    assert numbers[rank - 1] <= limit <= numbers[rank - 1] * 1.03
    assert numbers[2820] * 0.95 <= below <= numbers[2850]
    negative = ranked([-number for number in numbers], 0.05).upper(0.95)
    assert negative is not None
    assert -numbers[2850] <= negative < 0
