"""One unit's whole life, and where label and link disagree."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import UsageError
from benchrig.history.opening import History
from benchrig.history.questions.life import life_of
from tests.history.questions.kit import entry, history_of

HERE, SHARED = "C0:00:00:00:00:01", "C0:00:00:00:00:02"
RUNS = [
    entry(1, unit="", address=HERE, verdict="fail", cause="device"),  # before the serial number was read
    entry(
        2,
        unit="A",
        given="A",
        address=HERE,
        verdict="fail",
        readings={"read voltage.value": 11.0, "read name.value": "x"},
    ),
    entry(3, unit="A", given="A", address=HERE, firmware="1.1", station="line 2", readings={"read voltage.value": 9.0}),
    entry(4, unit="B", given="A"),  # another unit with the label of this one
    entry(5, unit="C", address=SHARED),
    entry(6, unit="D", address=SHARED),
    entry(7, unit="", address=SHARED, verdict="fail"),
    entry(8, unit="hub", others=[{"serial": "A"}], plan="pair"),
    entry(9, unit="A", left_out=3),
    entry(10, unit="S", simulated=True),
    entry(11, unit="A", simulated=True),
]


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory) -> History:
    return history_of(tmp_path_factory.mktemp("history"), RUNS)


def numbers(history: History, name: str, *, simulated: bool = False) -> list[tuple[int, str]]:
    life = life_of(history, name, simulated=simulated)
    return [(int(each.run.run_id.removeprefix("run-")), each.found_by) for each in life.runs]


def test_every_run_of_a_unit_and_of_its_label(history: History) -> None:
    read = "serial number"
    assert numbers(history, "A") == [
        (1, "address alone"), (2, read), (3, read), (4, "given serial number"), (8, read), (9, read),
    ]  # fmt: skip
    assert numbers(history, "A", simulated=True) == [(11, read)]
    assert numbers(history, "B") == [(4, read)]
    assert numbers(history, HERE.lower()) == [(1, "address"), (2, "address"), (3, "address")]


def test_where_label_and_link_disagree(history: History) -> None:
    """A wrong label is found under both names."""
    for name in ("A", "B"):
        (wrong,) = life_of(history, name).disagreements
        assert (wrong.run_id, wrong.given_serial, wrong.serial) == ("run-000004", "A", "B")
    assert life_of(history, "hub").disagreements == []


def test_an_address_that_two_units_have_tells_of_neither(history: History) -> None:
    assert numbers(history, "C") == [(5, "serial number")]
    assert [number for number, _ in numbers(history, SHARED)] == [5, 6, 7]
    assert life_of(history, SHARED).serials == ["C", "D"]


def test_what_was_seen_of_it(history: History) -> None:
    life = life_of(history, "A", with_readings=True)
    assert (life.firmware, life.stations, life.plans) == (["1.0", "1.1"], ["line 1", "line 2"], ["end of line", "pair"])
    assert (life.addresses, life.given_serials) == ([HERE], ["A"])
    told = {each.run.run_id: each.readings for each in life.runs}
    assert [(each.step, each.reading, each.value, each.high, each.passed) for each in told["run-000002"]] == [
        ("read voltage", "value", 11.0, 10.0, False), ("read name", "value", "x", 10.0, True),
    ]  # fmt: skip
    assert told["run-000001"] == []
    assert all(each.readings == [] for each in life_of(history, "A").runs)


def test_a_unit_that_nobody_knows(history: History) -> None:
    with pytest.raises(UsageError, match="no run with the unit 'S', but simulated runs have it") as wrong:
        life_of(history, "S")
    assert wrong.value.advice == "add --simulated"
    with pytest.raises(UsageError, match="no run with the unit 'B', but real runs have it"):
        life_of(history, "B", simulated=True)
    with pytest.raises(UsageError, match="no run with the unit 'hubb'") as wrong:
        life_of(history, "hubb")
    assert wrong.value.advice == "did you mean 'hub'?"
    with pytest.raises(UsageError, match="expected the name of a unit"):
        life_of(history, "")


def test_names_of_devices_are_no_sql(tmp_path: Path) -> None:
    evil = "'; DROP TABLE runs; -- <script>"
    with history_of(tmp_path, [entry(1, unit=evil)]) as history:
        assert len(life_of(history, evil).runs) == 1
