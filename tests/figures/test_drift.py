"""Drift of a golden unit: its checks alone, unit by unit, slot by slot; worked out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import UsageError
from benchrig.figures.drift import DriftFigure, DriftOfSlot, drift_of
from benchrig.history.entry import Entry
from benchrig.history.questions.filters import Filters
from tests.history.questions.kit import entry, history_of


def check(number: int, value: float, *, slot: str = "1", unit: str = "G", **more: object) -> Entry:
    """One a day, of the golden unit G1."""
    said = {"purpose": "golden", "reference": "G1", "slot": slot, "minutes": 1440 * number} | more
    return entry(number, unit=unit, readings={"read voltage.value": value}, **said)  # type: ignore[arg-type]


def drift(folder: Path, runs: list[Entry], *readings: str, filters: Filters | None = None) -> list[DriftFigure]:
    with history_of(folder, runs) as history:
        return drift_of(history, filters or Filters(), readings)


def only(folder: Path, runs: list[Entry]) -> DriftOfSlot:
    [figure] = drift(folder, runs)
    [slot] = figure.slots
    return slot


RISING = [check(n, 5.0 + 0.1 * n + 0.01 * (n % 3)) for n in range(20)]


def test_a_rise_a_day_is_told(tmp_path: Path) -> None:
    slot = only(tmp_path, RISING)
    assert slot.trend is not None
    assert (slot.n, slot.failed, slot.moves) == (20, 0, True)
    assert slot.trend.value == pytest.approx(0.1)
    assert {each.rule for each in slot.fired} & {"Nelson 3", "Nelson 2"}
    assert [each.low for each in slot.checks][:1] == [0.0]


def test_what_stays_does_not_move(tmp_path: Path) -> None:
    slot = only(tmp_path, [check(n, 5.0 + 0.1 * (n % 2)) for n in range(12)])
    assert not slot.moves


def test_units_that_are_made_are_no_part_of_it(tmp_path: Path) -> None:
    """Nor is the known-bad one, or a check that the station broke off."""
    others = [
        entry(50, unit="A", readings={"read voltage.value": 1.0}, purpose="unit", slot="1"),
        entry(51, unit="K", readings={"read voltage.value": 1.0}, purpose="known bad", slot="1", reference="K1"),
        check(52, 1.0, verdict="error", cause="station"),
        check(53, 1.0, left_out=2),
    ]
    assert [each.value for each in only(tmp_path, [*RISING, *others]).checks] == [
        each.readings[0][2][0] for each in RISING
    ]


def test_slots_and_units_are_apart(tmp_path: Path) -> None:
    runs = [check(1, 5.0), check(2, 7.0, slot="2"), check(3, 5.0, unit="G new"), check(4, 11.0)]
    [figure] = drift(tmp_path, runs)
    assert [(each.unit, each.slot, each.n, each.failed) for each in figure.slots] == [
        ("G", "1", 2, 1), ("G", "2", 1, 0), ("G new", "1", 1, 0),
    ]  # fmt: skip
    assert figure.slots[0].no_trend == "expected 5 values or more, found 2"
    assert figure.slots[1].no_lines == "expected 2 values or more, found 1"


def test_golden_units_are_apart(tmp_path: Path) -> None:
    told = drift(tmp_path, [check(1, 5.0), check(2, 6.0, unit="H", reference="G2")])
    assert [(each.reference, each.slots[0].checks[0].value) for each in told] == [("G1", 5.0), ("G2", 6.0)]


@pytest.mark.parametrize(
    ("filters", "readings", "said"),
    [
        (Filters(simulated=True), (), "no run with the purpose|no check with a golden unit"),
        (Filters(), ("read volts.value",), r"no reading 'read volts\.value'"),
        (Filters(reference=("G9",)), (), "no run with the reference 'G9'"),
    ],
)
def test_what_is_not_there(tmp_path: Path, filters: Filters, readings: tuple[str, ...], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        drift(tmp_path, RISING, *readings, filters=filters)
