"""Which runs fit, and words that no run has."""

from __future__ import annotations

from datetime import timedelta

import pytest

from benchrig.errors import UsageError
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.runs import runs_of
from tests.history.questions.kit import BEGIN, entry, history_of

RUNS = [
    entry(1, unit="A", station="line 1", firmware="1.0"),
    entry(2, unit="B", station="line 2", firmware="1.1", verdict="fail", given="A"),
    entry(3, unit="", address="C0:12:34:56:78:9A", verdict="fail", cause="device", firmware=""),
    entry(
        4, unit="D", plan="smoke", plan_hash="cd" * 32, limit_set="hot", revision="2", verdict="error", cause="station"
    ),
    entry(5, unit="E", others=[{"serial": "hub 7"}]),
    entry(6, unit="S", simulated=True, radio="virtual"),
]


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory) -> History:
    return history_of(tmp_path_factory.mktemp("history"), RUNS)


@pytest.mark.parametrize(
    ("filters", "numbers"),
    [
        (Filters(), [1, 2, 3, 4, 5]),
        (Filters(simulated=True), [6]),
        (Filters(station=("line 2",)), [2]),
        (Filters(station=("line 1", "line 2"), verdict=("fail",)), [2, 3]),
        (Filters(firmware=("",)), [3]),
        (Filters(plan=("smoke",)), [4]),
        (Filters(plan_hash=("CDCDCD",)), [4]),
        (Filters(limits=("hot",)), [4]),
        (Filters(limits=("",)), [1, 2, 3, 5]),
        (Filters(revision=("2",), cause=("station",)), [4]),
        (Filters(unit=("A",)), [1, 2]),  # the serial number of one, what the label of the other says
        (Filters(unit=("c0:12:34:56:78:9a",)), [3]),
        (Filters(unit=("hub 7",)), [5]),
        (Filters(since=BEGIN + timedelta(minutes=2)), [2, 3, 4, 5]),
        (Filters(until=BEGIN + timedelta(minutes=2)), [1]),
        (Filters(verdict=("cut off",)), []),
    ],
)
def test_runs_that_fit(history: History, filters: Filters, numbers: list[int]) -> None:
    assert [run.run_id for run in runs_of(history, filters)] == [f"run-{n:06}" for n in numbers]


@pytest.mark.parametrize(
    ("filters", "message", "advice"),
    [
        (Filters(station=("line2",)), "no run with the station 'line2'", "did you mean 'line 2' or 'line 1'?"),
        (Filters(plan_hash=("cd",)), "at least 6 digits of a plan hash, found 'cd'", ""),
        (Filters(plan_hash=("cdcdce",)), "no run with the plan hash 'cdcdce'", None),
        (Filters(unit=("B2",)), "no run with the unit 'B2'", None),
        (Filters(unit=("S",)), "no run with the unit 'S'", None),  # it was simulated
        (Filters(limits=("cold",)), "no run with the limit set 'cold'", "choose one of: hot"),
    ],
)
def test_a_word_that_no_run_has(history: History, filters: Filters, message: str, advice: str | None) -> None:
    with pytest.raises(UsageError, match=message) as wrong:
        runs_of(history, filters)
    assert advice is None or wrong.value.advice == advice


def test_a_wild_word_is_no_wild_card(history: History) -> None:
    for word in ("%", "_", "'; DROP TABLE runs; --", "cdcd%%"):
        for filters in (Filters(unit=(word,)), Filters(plan=(word,)), Filters(plan_hash=(word,))):
            with pytest.raises(UsageError):
                runs_of(history, filters)
    assert len(runs_of(history, Filters())) == 5


def test_the_words_of_filters() -> None:
    assert Filters().described == ""
    filters = Filters(plan=("a", "b"), limits=("",), since=BEGIN)
    assert filters.described == "plan 'a', 'b'; limit set ''; since 2026-11-02 06:00:00"
