"""Rates of rejects against what theory says, limits that are too tight, and what they should be."""

from __future__ import annotations

from pathlib import Path
from statistics import NormalDist

import msgspec
import pytest
from scipy.stats import binomtest  # type: ignore[import-untyped]

from benchrig.errors import OperatorError, PlanError, UsageError
from benchrig.rejects.results import Rejects
from benchrig.rejects.telling import proposal_words, summary
from benchrig.study.rates import Rate
from tests.rejects.kit import LIMIT, TIGHT, rejects, written

TRUE = NormalDist(20, 1).cdf


def untimed(made: Rejects) -> bytes:
    return msgspec.json.encode(made)


@pytest.mark.timeout(600)
@pytest.mark.parametrize(("count", "rate"), [(60, 0.05), pytest.param(600, 0.02, marks=pytest.mark.slow)])
def test_the_rate_found_is_the_one_that_is_and_the_proposed_limit_is_the_one_asked(
    tmp_path: Path, count: int, rate: float
) -> None:
    written(tmp_path)
    made = rejects(tmp_path, count=count, rate=rate, jobs=2)
    share = 1 - TRUE(LIMIT + 0.005)
    assert made.rate is not None
    low, high = Rate(made.rate.hits, count).interval(0.999)
    assert low < share < high
    both = binomtest(made.rate.hits, count).proportion_ci(0.95, "exact")
    assert (made.rate.low, made.rate.high, made.rate.sided) == (
        pytest.approx(both.low),
        pytest.approx(both.high),
        "two",
    )
    [step] = made.steps
    assert (step.step, step.reading, step.cause) == ("read temperature", "value", "limit")
    assert step.rate.hits == step.first == made.rate.hits
    [tight] = made.tight
    assert (tight.side, tight.now, tight.method, tight.unit) == ("high", LIMIT, "order statistics", "°C")
    assert tight.proposed is not None
    assert rate / 100 < 1 - TRUE(tight.proposed) < rate, "as rare as asked, and not wildly rarer"


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_the_proposed_limit_reaches_the_rate_in_fresh_units(tmp_path: Path) -> None:
    written(tmp_path)
    [tight] = rejects(tmp_path, count=300, rate=0.02, jobs=2).tight
    written(tmp_path, TIGHT % tight.proposed)
    fresh = rejects(tmp_path, count=600, rate=0.02, seed=1, jobs=2)
    assert fresh.rate is not None
    assert fresh.rate.low < 0.02, "nothing shows that it is more"


@pytest.mark.slow
def test_one_process_and_several_find_the_same_and_a_unit_alone_is_the_same_again(tmp_path: Path) -> None:
    written(tmp_path)
    one, several = rejects(tmp_path, air="rough"), rejects(tmp_path, air="rough", jobs=2)
    assert untimed(one) == untimed(several)
    assert one.rejected, "the seed has one"
    again = rejects(tmp_path, unit=one.rejected[0].number, air="rough")
    assert again.rejected == one.rejected[:1]
    assert rejects(tmp_path, unit=one.rejected[0].number, seed=1, air="rough").rejected == []


@pytest.mark.slow
def test_few_units_are_told_as_few(tmp_path: Path) -> None:
    written(tmp_path, TIGHT % 40)
    made = rejects(tmp_path)
    assert made.rate is not None
    assert (made.rate.hits, made.rate.low, made.rate.sided) == (0, 0.0, "one")
    assert made.rate.high == pytest.approx(1 - 0.05 ** (1 / 20))
    assert summary(made) == "0 of 20 good units rejected: at most 13.9 % at 95 % (one-sided)"
    written(tmp_path)
    [tight] = rejects(tmp_path).tight
    assert (tight.proposed, tight.wider, tight.method, tight.needed) == (None, None, None, 2995)
    assert proposal_words(tight, 0.001) == "max: too few units for 0.1 %: test 2995"


@pytest.mark.slow
def test_both_sides_and_bounds_that_each_run_has_of_its_own(tmp_path: Path) -> None:
    steps = """  - read: humidity
    save: {value: before}
    expect: {value: {min: 32 %, max: 48 %}}
  - read: humidity
    name: again
    expect: {value: {min: '${before}'}}
"""
    written(tmp_path, steps)
    made = rejects(tmp_path, count=40, rate=0.05, jobs=2)
    assert {(each.step, each.side) for each in made.tight} == {("read humidity", "low"), ("read humidity", "high")}
    again = next(each for each in made.limits if each.step == "again")
    assert (again.distance, again.nearest, again.deviations) == (0.0, 0.0, None)


def test_limits_say_how_far_the_units_are(tmp_path: Path) -> None:
    written(tmp_path, TIGHT % 24)
    made = rejects(tmp_path, count=40, jobs=2)
    temperature, humidity = made.limits
    assert temperature.distance == pytest.approx(4, abs=0.5)
    assert temperature.deviations == pytest.approx(4, rel=0.3)
    assert temperature.nearest_unit is not None
    assert humidity.nearest == pytest.approx(10, abs=1)
    assert (humidity.judged, humidity.rejected, humidity.caught) == (40, 0, None)
    assert humidity.seconds is not None


def test_what_is_on_the_label_is_given_to_the_plan(tmp_path: Path) -> None:
    steps = "  - read: serial number\n    expect: {value: {equals: '${serial}'}}\n"
    written(tmp_path, steps, head="given: {serial: {matches: 'U-\\d{4}'}}\n")
    assert rejects(tmp_path, count=4).rejected == []
    assert len(rejects(tmp_path, values={"serial": "U-0003"}, count=4).rejected) == 3


def test_ctrl_c_keeps_what_there_is(tmp_path: Path) -> None:
    written(tmp_path)
    heard = []

    def told(run: object) -> None:
        heard.append(run)
        if len(heard) == 3:
            raise KeyboardInterrupt

    made = rejects(tmp_path, told, jobs=2)
    assert (made.interrupted, made.tested, made.asked, len(made.limits)) == (True, 3, 20, 2)


def test_what_cannot_be_tested_is_no_reject(tmp_path: Path) -> None:
    written(tmp_path, "  - ask: Is the lamp green?\n")
    with pytest.raises(OperatorError, match="needs an answer"):
        rejects(tmp_path)
    written(
        tmp_path,
        "  - read: humidity\n    expect: {value: {equals: '${serial}'}}\n",
        head="given: {serial: }\n",
        services="",
    )
    with pytest.raises(PlanError):
        rejects(tmp_path)
    written(tmp_path)
    with pytest.raises(UsageError, match="units have numbers below"):
        rejects(tmp_path, count=1_000_000)


def test_a_device_without_spread_is_noted_and_meets_the_air_all_the_same(tmp_path: Path) -> None:
    written(tmp_path, services=SERVICES_ALONE)
    made = rejects(tmp_path, count=5, air=None)
    assert made.air == "rough"
    assert "differ in nothing but the air" in made.notes[0]


SERVICES_ALONE = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: 20 °C}
      - {characteristic: humidity, properties: [read], value: 40 %}
"""


def test_a_plan_that_no_unit_passes_is_said_to_be_one(tmp_path: Path) -> None:
    written(tmp_path, TIGHT % 21.5)
    assert rejects(tmp_path, count=5).notes == []
    written(tmp_path, TIGHT % -40)
    [note] = rejects(tmp_path, count=5).notes
    assert note.startswith("no unit passes: ")
