"""Values of a reading as arrays: which runs tell them, their order, what they were held against."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchrig.errors import UsageError
from benchrig.history.adding import add_entries
from benchrig.history.questions.channels import channels_of
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.values import all_values, values_of
from tests.history.questions.kit import BEGIN, entry, history_of

VOLTAGE = "read voltage.value"


def test_values_in_the_order_of_the_runs_and_what_they_are_of(tmp_path: Path) -> None:
    """By their start, those that began together by their id, in whatever order they were added."""
    told = [
        entry(3, minutes=1, unit="C", readings={VOLTAGE: 3.5}, firmware="2.0", station="line 2"),
        entry(2, minutes=1, unit="B", readings={VOLTAGE: 2.5}, limits=(None, 2.0)),
        entry(1, minutes=0, unit="A", readings={VOLTAGE: 1.5}),
        entry(4, minutes=9, unit="D", readings={"read name.value": "X"}),
    ]
    with history_of(tmp_path, told) as history:
        values = values_of(history, VOLTAGE, Filters())
        assert values.value.tolist() == [1.5, 2.5, 3.5]
        assert values.unit.tolist() == ["A", "B", "C"]
        assert values.run.tolist() == values.folder.tolist() == ["run-000001", "run-000002", "run-000003"]
        assert (values.station.tolist(), values.firmware.tolist()) == (
            ["line 1"] * 2 + ["line 2"],
            ["1.0", "1.0", "2.0"],
        )
        assert values.low.tolist()[::2] == [0, 0]
        assert np.isnan(values.low[1])
        assert values.high.tolist() == values.stated_high.tolist() == [10, 2, 10]
        assert values.passed.tolist() == [True, False, True]
        assert values.started[0] == np.datetime64(BEGIN.replace(tzinfo=None))
        assert (values.channel.plan, values.channel.measure, len(values), values.apart) == ("end of line", "V", 3, 0)


def test_partial_runs_studies_and_simulated_runs_have_no_part(tmp_path: Path) -> None:
    told = [
        entry(1, readings={VOLTAGE: 1}),
        entry(2, readings={VOLTAGE: 2}, left_out=1),
        entry(3, readings={VOLTAGE: 3}, study="gauge 1"),
        entry(4, readings={VOLTAGE: 4}, simulated=True, radio="virtual"),
        entry(5, readings={VOLTAGE: "n/a"}),
    ]
    with history_of(tmp_path, told) as history:
        values = values_of(history, VOLTAGE, Filters())
        assert (values.value.tolist(), values.apart, values.not_numbers) == ([1], 2, 1)
        simulated = values_of(history, VOLTAGE, Filters(simulated=True))
        assert (simulated.value.tolist(), simulated.simulated) == ([4], True)


def test_few_runs_are_looked_up_as_many_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = [entry(n, unit=f"U{n % 7}", readings={VOLTAGE: n / 8, "other.value": n}) for n in range(40)]
    with history_of(tmp_path, told) as history:
        few = values_of(history, VOLTAGE, Filters(unit=("U3",)))
        monkeypatch.setattr("benchrig.history.questions.values._FEW", 2)
        many = values_of(history, VOLTAGE, Filters(unit=("U3",)))
        assert few.value.tolist() == many.value.tolist() == [n / 8 for n in range(40) if n % 7 == 3]
        assert few.run.tolist() == many.run.tolist()
        assert [(each.channel.label, len(each)) for each in all_values(history, Filters())] == [
            ("other.value", 40),
            (VOLTAGE, 40),
        ]


def test_one_reading_alone(tmp_path: Path) -> None:
    """Of two plans, or in two units of measure, it is two readings."""
    told = [
        entry(1, readings={VOLTAGE: 1, "read current.value": 1}),
        entry(2, readings={VOLTAGE: 1}, plan="smoke"),
        entry(3, readings={"read current.value": 1}, measure="A", revision="2"),
    ]
    with history_of(tmp_path, told) as history:
        with pytest.raises(UsageError, match="belongs to 2 plans, and they are not mixed: 'end of line', 'smoke'"):
            values_of(history, VOLTAGE, Filters())
        assert len(values_of(history, VOLTAGE, Filters(plan=("smoke",)))) == 1
        with pytest.raises(UsageError, match="several units of measure, and they are not mixed: A, V"):
            values_of(history, "read current.value", Filters())
        assert len(values_of(history, "read current.value", Filters(revision=("2",)))) == 1
        with pytest.raises(UsageError, match=r"no reading 'read curent\.value'") as wrong:
            values_of(history, "read curent.value", Filters())
        assert wrong.value.advice == "did you mean 'read current.value' or 'read voltage.value'?"
        with pytest.raises(UsageError, match="none of these runs has the reading"):
            values_of(
                history,
                "read current.value",
                Filters(unit=("A",), since=BEGIN.replace(year=2030)),
            )


def test_the_same_numbers_when_more_runs_are_added(tmp_path: Path) -> None:
    """What is grown run by run in any order tells what is added at once tells, to the last digit."""
    told = [entry(n, minutes=n // 3, unit=f"U{n}", readings={VOLTAGE: n * 0.1 + 0.7}) for n in range(30)]
    (tmp_path / "grown").mkdir()
    with history_of(tmp_path, told) as at_once, history_of(tmp_path / "grown", []) as grown:
        for each in reversed(told):
            add_entries(grown, [each])
        one, other = (values_of(each, VOLTAGE, Filters()) for each in (at_once, grown))
        assert one.value.tobytes() == other.value.tobytes()
        assert one.run.tolist() == other.run.tolist()
        assert [each.label for each in channels_of(grown, Filters())] == [VOLTAGE]


def test_rounds_that_are_not_on_record_are_told(tmp_path: Path) -> None:
    """What a long repetition keeps one by one is no sample of its rounds; a reading outside it is whole."""
    runs = [entry(1, readings={VOLTAGE: 1}), entry(2, readings={VOLTAGE: 2, "other.value": 1}, rounds_left=900)]
    again = [entry(3, readings={VOLTAGE: 3}, rounds_left=900)]
    again[0].readings.append(again[0].readings[0])
    with history_of(tmp_path, [*runs, *again]) as history:
        told = {each.channel.label: (len(each), each.some_rounds) for each in all_values(history, Filters())}
        assert told == {VOLTAGE: (4, 1), "other.value": (1, 0)}


def test_runs_that_died_or_were_broken_off_have_no_part_unless_asked_for(tmp_path: Path) -> None:
    ends = [
        ("pass", ""),
        ("fail", "limit"),
        ("cut off", ""),
        ("error", "station"),
        ("error", "internal"),
        ("not all judged", "plan"),
    ]
    entries = [
        entry(n, readings={"step.value": float(n)}, verdict=verdict, cause=cause)
        for n, (verdict, cause) in enumerate(ends)
    ]
    with history_of(tmp_path, entries) as history:
        values = values_of(history, "step.value", Filters())
        assert (values.value.tolist(), values.apart) == ([0.0, 1.0, 5.0], 3)
        broken_off = values_of(history, "step.value", Filters(cause=("station",)))
        assert (broken_off.value.tolist(), broken_off.apart) == ([3.0], 0)
