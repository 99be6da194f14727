"""A plan and Python judge the same unit alike: readings, limits, sentences, causes. The cases are the faults of the reference,
and sound steps beside them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from benchrig import BenchrigError, OpenedRadio, PlanError
from benchrig.plan.loader import load_plan
from benchrig.record.events import Reading
from benchrig.record.model import Execution, Record
from benchrig.source.nodes import plain
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_file
from benchrig.steps import KINDS
from tests.api.kit import python
from tests.run.faults import FAULTS, Fault, on_unit
from tests.run.kit import run

SOUND: dict[str, Callable[[], Fault]] = {
    "a value inside its limit": lambda: on_unit("read: battery level\n    expect: {value: {min: 50 %}}"),
    "a value that is kept": lambda: on_unit(
        "write: limit\n    value: 3 °C\n    read_back: true\n    expect: {value: {max: 4 °C}}"
    ),
    "a refusal that is expected": lambda: on_unit(
        "read: secret\n    expect: {att_error: {equals: read not permitted}}"
    ),
    "a stream": lambda: on_unit(
        "notify: stops\n    count: 4\n    counter: value\n    expect: {lost: {equals: 0}, rate: {min: 15 Hz}}"
    ),
    "a stream beside steps": lambda: on_unit(
        "listen: {stops: {counter: value}}\n    steps: [{wait: 1 s}]\n    expect: {stops.lost: {equals: 0}}"
    ),
    "a repetition": lambda: on_unit("repeat: 3\n    steps: [{read: battery level, expect: {value: {min: 50 %}}}]"),
    "a restart": lambda: on_unit(
        "reboot:\n    steps: [{write: restart, value: 1}]\n    expect: {lost_after: {max: 2 s}}"
    ),
    "a table": lambda: on_unit("discover:\n    expect: {table: {battery: {battery level: [read]}}}"),
}


def told(name: str) -> Fault | None:
    """What both can be asked: without references, functions of files, interruptions; nothing that `check` refuses."""
    fault = (FAULTS | SOUND)[name]()
    skipped = {"during", "given", "acknowledged"} & fault.more.keys()
    if skipped or fault.files or "${" in fault.plan or "save:" in fault.plan:
        return None
    try:
        load_plan(Path("plan.yaml"), {}, text=fault.plan)
    except PlanError:
        return None
    return fault


BOTH = [name for name in FAULTS | SOUND if told(name) is not None]


def asked(file: Path) -> Any:
    """The steps of a plan, asked for in Python until one ends the run."""
    written: Any = read_file(file, Problems())

    async def test(radio: OpenedRadio) -> None:
        unit: Any = radio
        for keys in plain(written)["steps"]:
            verb = next(iter(keys.keys() & KINDS.keys()))
            subject = keys.pop(verb)
            try:
                if verb == "scan" and unit is radio:
                    unit = await radio.find(**keys)
                else:
                    await unit.step(verb, subject, **keys)
            except BenchrigError as error:
                if raised(radio.record, error) == "error" or unit is radio:
                    return

    return test


def raised(record: Record, error: BenchrigError) -> str:
    """The verdict of the step, of which the error says all that the record does."""
    end = record.nodes[-1].ended
    assert end is not None
    assert end.message in error.message
    assert end.verdict == "skip" or (error.cause, error.advice) == (end.cause, end.advice)
    return end.verdict


def shape(step: Execution) -> list[Any]:
    """All that is on record of a step, but where it was asked for."""
    end = step.ended
    assert end is not None
    planned = replace(step.planned, place="", children=[])
    if "device: select" in end.advice or step.planned.kind == "scan":
        end = replace(end, advice="")  # where the selection is written differs
    if end.cause == "operator":
        return [planned, end.verdict, end.cause, end.message]  # a person was asked, outside the virtual clock
    return [
        planned, step.where, step.opened, end, [_unplaced(each) for each in step.readings],
        [(each.name, each.reason) for each in step.not_judged], [each.text for each in step.notes],
    ]  # fmt: skip


def _unplaced(reading: Reading) -> Reading:
    judgement = reading.judgement
    return replace(reading, judgement=replace(judgement, place="") if judgement else None)


def ends(record: Record) -> tuple[Any, ...]:
    assert record.ended is not None
    return record.ended.verdict, record.ended.cause, record.ended.root, record.ended.message


def check(name: str, folder: Path, air: str | None) -> None:
    fault = told(name)
    assert fault is not None
    file = folder / "plan.yaml"
    file.write_text(fault.plan, "utf-8")
    by_plan = run(file, *fault.devices, air=air, **fault.more)
    by_python = python(asked(file), *fault.devices, names=file, air=air, **fault.more)
    assert by_python.is_clean
    mine, theirs = by_python.record.executions, by_plan.record.executions
    assert len(mine) >= min(3, len(theirs)) or by_plan.ended.verdict != "pass"
    for one, other in zip(mine, theirs, strict=False):
        assert shape(one) == shape(other)
    assert ends(by_python.record) == ends(by_plan.record)


# every second fault is left to the slow tests
SAMPLED = [*SOUND, *(name for name in BOTH[::2] if name not in SOUND)]
REST = [pytest.param(name, marks=pytest.mark.slow) for name in BOTH if name not in SAMPLED]


@pytest.mark.parametrize("name", [*SAMPLED, *REST])
def test_a_plan_and_python_say_the_same(name: str, tmp_path: Path) -> None:
    check(name, tmp_path, None)


@pytest.mark.parametrize("name", [*SOUND, *BOTH[:4]])
def test_so_they_do_on_a_rough_air(name: str, tmp_path: Path) -> None:
    check(name, tmp_path, "rough")


def test_there_are_enough_of_both() -> None:
    assert {*SOUND} <= {*BOTH}
    assert len(BOTH) >= 60
