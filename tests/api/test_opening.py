"""What a run in Python leaves and what it refuses: results, cautions, secrets, stations, names."""

from __future__ import annotations

import traceback
from pathlib import Path

import pytest

from benchrig import LimitFailed, OpenedRadio, OperatorError, PlanError, Quantity, Secret, StationError, UsageError
from benchrig.record.journal import read_record
from benchrig.report import whole
from benchrig.station.station import Station
from tests.api.devices import NAMES, OTHER, UNIT
from tests.api.kit import python

PLAN = f"""plan: names of the unit
caution: It opens the lock.
device:
  select: {{name: unit 1}}
  {NAMES.replace(chr(10), chr(10) + "  ").rstrip()}
steps:
  - scan:
    expect: {{heard: {{equals: true}}}}
"""


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    file = tmp_path / "plan.yaml"
    file.write_text(PLAN, "utf-8")
    return file


async def charge(radio: OpenedRadio) -> None:
    async with (await radio.find("unit 1")).connect() as link:
        await link.read("battery level", expect={"value": {"min": "20 %"}})


def test_results_are_those_of_a_run(tmp_path: Path) -> None:
    left = python(charge, UNIT, name="charge", results=tmp_path)
    [folder] = [each for each in tmp_path.iterdir() if each.is_dir() and each.name.endswith("-charge")]
    assert read_record(folder / "record.jsonl") == left.record
    assert 'name="read battery level"' in (folder / "junit.xml").read_text("utf-8")
    assert "read battery level" in (folder / "readings.csv").read_text("utf-8")
    assert "charge" in (tmp_path / "index.csv").read_text("utf-8")


def test_reports_show_what_was_tolerated_and_rounds_that_were_left_out(tmp_path: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            with link.tolerating(), pytest.raises(LimitFailed):
                await link.read("battery level", expect={"value": {"max": "20 %"}})
            limit = {"value": {"min": "20 %"}}
            await link.step("repeat", 200, steps=[{"read": "battery level", "expect": limit}])

    left = python(test, UNIT, results=tmp_path)
    assert (left.error, left.record.verdict) == (None, "pass")
    [repeat] = [step for step in left.record.executions if step.planned.kind == "repeat"]
    assert repeat.left is not None
    assert len(repeat.children) + repeat.left.rounds == 200
    [junit] = tmp_path.rglob("junit.xml")
    assert "tolerated: the caller allows that" in junit.read_text("utf-8")
    assert "<failure" not in junit.read_text("utf-8")
    told = [*whole.tolerated(left.record)]
    assert told == ["step 3 read battery level failed, which the caller allows"]


def test_what_writes_needs_its_caution_acknowledged(plan: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find()).connect() as link:
            await link.write("lock", "shut", read_back=True)

    left = python(test, UNIT, names=plan)
    assert isinstance(left.error, OperatorError)
    assert "nobody acknowledged the caution (no terminal): It opens the lock." in left.error.message
    assert "acknowledged=True" in left.error.advice
    assert [step.planned.kind for step in left.record.steps] == ["scan", "connect"]
    assert (left.record.verdict, left.record.cause) == ("error", "operator")
    left = python(test, UNIT, names=plan, acknowledged=True)
    assert left.error is None
    assert any("caution acknowledged" in note.text for note in left.record.notes)


def test_a_secret_reaches_the_unit_and_nothing_else(plan: Path, tmp_path: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find()).connect() as link:
            await link.write("lock", Secret("XK-4711-Q"), read_back=True)
            assert await link.read("lock", expect={"value": {"equals": Secret("XK-4711-Q")}}) == "XK-4711-Q"
            with link.tolerating(), pytest.raises(AssertionError) as caught:
                await link.read("lock", expect={"value": {"differs": Secret("XK-4711-Q")}})
            assert "4711" not in str(caught.value)

    left = python(test, UNIT, names=plan, acknowledged=True, results=tmp_path / "results")
    assert (left.error, left.record.verdict) == (None, "pass")
    for file in (tmp_path / "results").rglob("*.*"):
        if file.is_file():
            data = file.read_bytes()
            assert b"4711" not in data, file
            assert b"XK-4711-Q".hex().upper().encode() not in data, file


def test_a_secret_that_is_wrong_itself_is_not_told(plan: Path) -> None:
    secret = Secret("-".join(["XK", "4711", "Q"]))  # no line of this file has it

    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find()).connect() as link:
            await link.write("restart", secret)

    left = python(test, UNIT, names=plan, acknowledged=True)
    assert isinstance(left.error, PlanError)
    assert "expected a number" in str(left.error)
    assert str(secret.value) not in "".join(traceback.format_exception(left.error))
    assert str(secret.value) not in left.record.message


def test_a_station_can_forbid_and_two_units_are_two_devices() -> None:
    async def test(radio: OpenedRadio) -> None:
        with pytest.raises(StationError, match="this station forbids command steps"):
            await radio.step("command", ["echo"])
        first, second = await radio.find("unit 1"), await radio.find("unit 2")
        assert (await radio.find("unit 1")).address == first.address
        async with first.connect() as one, second.connect() as other:
            await one.read("battery level", expect={"value": {"min": "20 %"}})
            await other.read("battery level", expect={"value": {"min": "20 %"}})

    left = python(test, UNIT, OTHER, station=Station("bench 1", forbid=["command"]))
    assert left.error is None
    assert (left.record.verdict, left.record.cause) == ("error", "station")
    assert {*left.record.run.devices} == {"", "unit 2"}
    assert {*left.record.devices} == {"", "unit 2"}


@pytest.mark.parametrize(
    ("how", "error", "said"),
    [
        ({"names": "nowhere.yaml"}, PlanError, "cannot be read"),
        ({"station": "nowhere.yaml"}, PlanError, "cannot be read"),
    ],
)
def test_what_cannot_be_opened_is_said_at_once(how: dict[str, str], error: type[Exception], said: str) -> None:
    with pytest.raises(error, match=said):
        python(charge, UNIT, **how)


def test_find_says_what_it_lacks() -> None:
    async def test(radio: OpenedRadio) -> None:
        with pytest.raises(UsageError, match="nothing says which unit is meant"):
            await radio.find()
        with pytest.raises(PlanError, match="unknown key 'nam'"):
            await radio.find({"nam": "unit 1"})
        unit = await radio.find({"name": "unit 1", "rssi_min": Quantity("-90 dBm")})
        assert unit.rssi is not None
        with pytest.raises(PlanError, match=r"'only_if' is for plans\n.*\n.*\n  write an if in Python"):
            await unit.step("scan", only_if={"a": {"equals": 1}})

    assert python(test, UNIT).error is None
