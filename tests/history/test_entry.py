"""What a history keeps of a record."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from msgspec.structs import replace

from benchrig.history.adding import add_entries
from benchrig.history.entry import DEVICE, READING, STEP, Entry, entry_of
from benchrig.history.moments import micros
from benchrig.history.opening import open_history
from benchrig.record.aggregate import build_record
from benchrig.record.events import DeviceSeen, Fixture, PlannedLimits, Reading, Samples
from benchrig.record.study_part import StudyPart
from benchrig.values.judging import Judgement
from tests.history.folders import end_of_line
from tests.history.postgres import cluster, needs_postgresql
from tests.record.strategies import records


def entry(events) -> Entry:
    return entry_of(build_record(events), b"", "run")


def named(names, rows) -> list[dict[str, object]]:
    return [dict(zip(names, row, strict=True)) for row in rows]


def test_the_head_of_a_run() -> None:
    head, *rest = end_of_line(3)
    head = replace(
        head, revision="4", limit_set=PlannedLimits("cold", "2", "q", "r", "f", "ab"), fixture=Fixture("nest 4", "1.3"),
        study=StudyPart("s", "VF-1", "Anna", 2), host="line-pc", left_out=2, simulated=True, given_serial="VF-000009",
    )  # fmt: skip
    run = entry([head, *rest]).run
    wanted = {
        "plan": "sensors", "revision": "4", "limit_set": "cold", "limit_set_version": "2", "limit_set_hash": "ab",
        "fixture": "nest 4", "fixture_version": "1.3", "study": "s", "study_unit": "VF-1", "study_appraiser": "Anna",
        "study_repeat": 2, "host": "line-pc", "left_out": 2, "simulated": True, "serial": "VF-000003",
        "given_serial": "VF-000009", "unit": "VF-000003", "verdict": "pass", "cause": "", "judged": 3, "planned": 3,
        "started": micros(datetime(2026, 1, 5, 6, 3, tzinfo=UTC)), "benchrig": "0.7.0",
    }  # fmt: skip
    assert {name: run[name] for name in wanted} == wanted


def test_what_decided_and_every_reading_with_what_it_was_held_against() -> None:
    made = entry(end_of_line(values=[5.0, 9.0]))
    assert (made.run["verdict"], made.run["root_step"], made.run["root_reading"]) == ("fail", "read sensor 2", "value")
    assert [each["verdict"] for each in named(STEP, made.steps)] == ["pass", "fail"]
    (channel, bound, row), (_, _, broken) = made.readings
    assert channel == ("sensors", "read sensor 1", 1, "value", "°C")
    assert bound == ("max 8 °C", None, 8.0, None, 8.0, "")
    first, second = named(READING, [row, broken])
    assert (first["value"], first["passed"], first["margin"]) == (5.0, True, 3.0)
    assert (second["value"], second["passed"], second["margin"]) == (9.0, False, -1.0)


def test_a_guard_band_keeps_what_was_stated_and_a_stream_its_samples() -> None:
    events = end_of_line(values=[5.0])
    [at] = [n for n, event in enumerate(events) if isinstance(event, Reading)]
    judged = Judgement(True, "max 8 °C", "…", None, 7.8, 2.8, stated_high=8, guard="ISO 14253-1, U 0.2 °C")
    events[at] = replace(events[at], value=None, judgement=judged, samples=Samples(9, 4.5, 5.5, 5.0))
    [(_, bound, row)] = entry(events).readings
    assert bound == ("max 8 °C", None, 7.8, None, 8.0, "ISO 14253-1, U 0.2 °C")
    assert dict(zip(READING, row, strict=True)) == {
        "value": None, "text": None, "passed": True, "margin": 2.8, "samples": 9, "minimum": 4.5, "maximum": 5.5, "mean": 5.0,
    }  # fmt: skip


def test_steps_of_one_name_are_told_apart() -> None:
    head, *rest = end_of_line(values=[5.0, 6.0])
    head = replace(head, nodes=[replace(node, name="read") for node in head.nodes])
    assert [channel[1:3] for channel, _, _ in entry([head, *rest]).readings] == [("read", 1), ("read", 2)]


@pytest.mark.parametrize(("value", "number", "text"), [
    (3, 3.0, None), (True, None, "true"), ("a\0b", None, "a�b"), ([1, "x"], None, '[1, "x"]'), (10**400, None, str(10**400)[:1000]),
])  # fmt: skip
def test_a_value_is_a_number_or_a_text(value, number, text) -> None:
    events = [replace(each, value=value) if isinstance(each, Reading) else each for each in end_of_line(values=[5.0])]
    [(_, _, row)] = entry(events).readings
    assert row[:2] == (number, text)


def test_a_unit_that_another_took_the_place_of_is_kept_too() -> None:
    head, first, *rest = end_of_line(1)
    later = [DeviceSeen(1.0, address="C4:00:00:00:00:02", swapped=True), DeviceSeen(1.1, serial="VF-2", firmware="2.0")]
    made = entry([head, first, *later, *rest])
    assert [(each["serial"], each["firmware"]) for each in named(DEVICE, made.devices)] == [
        ("VF-000001", ""),
        ("VF-2", "2.0"),
    ]


def test_a_run_without_a_unit_has_one_that_is_not_known() -> None:
    head, _, *rest = end_of_line(1)
    made = entry([replace(head, given_serial="VF-7"), *rest])
    assert (made.run["unit"], len(made.devices)) == ("VF-7", 1)


def take(history, record) -> None:
    """Whatever a record holds; what begins at no moment is another test's."""
    record.run = replace(record.run, started="2026-03-02T08:15:30.250Z")
    add_entries(history, [entry_of(record, msgspec.json.encode(record.run.run_id), "run")])


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory):
    with open_history(tmp_path_factory.mktemp("history") / "history.sqlite", make=True) as opened:
        yield opened


@settings(max_examples=30, deadline=None)
@given(record=records())
def test_any_record_can_be_kept(history, record) -> None:
    take(history, record)


@pytest.mark.slow
@pytest.mark.timeout(300)
@needs_postgresql
def test_any_record_can_be_kept_by_a_server(tmp_path: Path) -> None:
    with cluster() as server, open_history(server.url, make=True) as opened:

        @settings(max_examples=100, deadline=None)
        @given(record=records())
        def drawn(record) -> None:
            take(opened, record)

        drawn()
