"""Runs of a line by what they were for: no question mixes checks of the station, or clean-ups, with tests of units."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchrig.figures.capability import capability_of
from benchrig.history.entry import Entry
from benchrig.history.opening import History
from benchrig.history.questions.channels import channels_of
from benchrig.history.questions.export import export
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.life import life_of
from benchrig.history.questions.runs import runs_of
from benchrig.history.questions.values import all_values, values_of
from tests.history.questions.kit import entry, history_of

VOLTAGE = "read voltage.value"
CHECKS = ("golden", "known bad", "clean-up")


def run(number: int, purpose: str, **more: object) -> Entry:
    """Its value is its number."""
    told = {"unit": f"U{number}", "readings": {VOLTAGE: float(number)}, "slot": "1" if purpose else ""}
    return entry(number, purpose=purpose, **(told | more))  # type: ignore[arg-type]


RUNS = [
    run(1, ""),
    run(2, "unit", person="Anna", shift="early", product="logger"),
    run(3, "retest", slot="2", first_run="run-000002", again=1),
    run(4, "golden", reference="G1"),
    run(5, "known bad", reference="K1"),
    run(6, "clean-up"),
    run(7, "repaired", first_run="run-000001", again=1),
]


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with history_of(tmp_path, RUNS) as made:
        yield made


@pytest.mark.parametrize(
    ("filters", "numbers"),
    [
        (Filters(), [1, 2, 3, 7]),
        (Filters(purpose=("golden",)), [4]),
        (Filters(purpose=("golden", "known bad")), [4, 5]),
        (Filters(purpose=("golden", "unit")), [2]),
        (Filters(slot=("1",)), [2, 7]),
        (Filters(slot=("",)), [1]),
        (Filters(reference=("G1",), purpose=("golden",)), [4]),
        (Filters(person=("Anna",), shift=("early",), product=("logger",)), [2]),
    ],
)
def test_values_are_of_units_or_of_checks(history: History, filters: Filters, numbers: list[float]) -> None:
    assert values_of(history, VOLTAGE, filters).value.tolist() == numbers


def test_the_checks_are_counted_as_left_out(history: History) -> None:
    [values] = all_values(history, Filters())
    assert values.apart == 3
    assert capability_of(history, VOLTAGE, Filters()).apart == 3


def test_a_reading_that_checks_alone_have_is_none_of_units(tmp_path: Path) -> None:
    with history_of(tmp_path, [run(1, "golden"), run(2, "unit", readings={"scan.rssi": 1.0})]) as history:
        assert [each.label for each in channels_of(history, Filters())] == ["scan.rssi"]
        assert [each.label for each in channels_of(history, Filters(purpose=("golden",)))] == [VOLTAGE]


def test_an_export_has_them_where_they_are_named(history: History) -> None:
    def exported(*purposes: str) -> tuple[int, int]:
        told = export(history, [VOLTAGE], Filters(purpose=purposes), io.BytesIO(), "csv")
        return told.readings, told.of_the_station

    assert (exported(), exported("golden"), exported("golden", "unit")) == ((4, 3), (1, 0), (2, 0))


def test_all_of_them_are_listed_and_say_what_they_were(history: History) -> None:
    told = {run.purpose: (run.apart, run.at_line) for run in runs_of(history, Filters())}
    assert {purpose: told[purpose] for purpose in CHECKS} == {
        "golden": ("golden unit", "golden unit"), "known bad": ("known-bad unit", "known-bad unit"),
        "clean-up": ("clean-up", "clean-up"),
    }  # fmt: skip
    assert [told[each] for each in ("", "unit", "retest", "repaired")] == [
        ("", ""), ("", ""), ("", "retest 1"), ("", "repaired"),
    ]  # fmt: skip
    [lived] = life_of(history, "U4").runs
    assert (lived.run.reference, lived.run.place) == ("G1", "line 1, slot 1")


def test_slots_that_differ_are_doubted(tmp_path: Path) -> None:
    runs = [run(n, "unit", slot="12"[n % 2], readings={VOLTAGE: 5.0 + n % 2 + n / 1000}) for n in range(40)]
    with history_of(tmp_path, runs) as history:
        [part] = capability_of(history, VOLTAGE, Filters()).parts
        assert "slots differ: one figure over them describes none" in [each.says for each in part.doubts]
        assert part.units == 40
