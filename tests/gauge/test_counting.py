"""What a run counts for in a study. A measurement of another unit, or of half a run, must not be one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchrig.gauge.counting import Measured, NotCounted, Value, counted_for
from benchrig.gauge.design import Cell, Design
from benchrig.record.journal import read_record
from tests.gauge.kit import READING, lines_of, write

CELL = Cell("A", "Anna", 1)
DESIGN = Design("id", "plan.yaml", "hash", [READING], ["A", "B"], ["Anna"], 2)
Lines = list[dict[str, Any]]
SET = {"name": "s", "version": "1", "owner": "o", "reason": "r", "file": "s.yaml", "sha256": "another"}


def counted(folder: Path, lines: Lines) -> Measured | NotCounted:
    write(folder, lines)
    return counted_for(read_record(folder), folder, DESIGN)


def said(**keys: Any) -> Callable[[Lines], None]:
    """A change of the head."""
    return lambda lines: lines[0].update(keys)


def of(**keys: Any) -> Callable[[Lines], None]:
    return lambda lines: lines[0]["study"].update(keys)


def read(**keys: Any) -> Callable[[Lines], None]:
    return lambda lines: lines[5].update(keys)


def ended(**keys: Any) -> Callable[[Lines], None]:
    return lambda lines: lines[-1].update(keys)


def seen(*serials: str) -> Callable[[Lines], None]:
    """What is read of the device in place of its serial number, one after the other."""

    def change(lines: Lines) -> None:
        lines[2:3] = [{**lines[2], "serial": each, "swapped": place > 0} for place, each in enumerate(serials)]

    return change


def cut(lines: Lines) -> None:
    lines.pop()


def twice(lines: Lines) -> None:
    lines.insert(5, lines[5])


def test_a_run_counts_with_its_value_and_its_limits(tmp_path: Path) -> None:
    found = counted(tmp_path, lines_of(DESIGN, CELL, 21.5))
    assert isinstance(found, Measured)
    assert (found.cell, found.values, found.simulated) == (CELL, {READING: Value(21.5, "°C", -10, 90)}, False)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (said(study=None), "it is not a run of a gauge study"),
        (of(study="another"), "it is a run of another gauge study"),
        (of(unit="C"), "the design does not have it: unit C, Anna, repeat 1"),
        (of(repeat=3), "the design does not have it: unit A, Anna, repeat 3"),
        (of(appraiser="Ben"), "the design does not have it: unit A, Ben, repeat 1"),
        (said(plan_hash="another"), "the plan was another one"),
        (said(limit_set=SET), "the limits were those of another limit set"),
        (seen("A", ""), "another unit may have taken its place after its serial number was read"),
        (cut, "the run has not ended: it was cut off, or is under way"),
        (said(left_out=1), "the run left out steps of the plan"),
        (seen("B"), "expected unit A, found unit B"),
        (seen("A", "B"), "expected unit A, found unit A, B"),
        (seen(""), "no serial number was read over the link: nothing shows that it is unit A"),
        (ended(verdict="error", cause="link", message="the link was lost"), "the run ended with cause link: the link was lost"),
        (ended(verdict="skip"), "the run ended with verdict skip"),
        (read(name="other"), f"expected the reading '{READING}' once, found it 0 times"),
        (twice, f"expected the reading '{READING}' once, found it 2 times"),
        (read(value="warm"), f"the reading '{READING}' is not a number"),
        (read(value=None), f"the reading '{READING}' is not a number"),
    ],
)  # fmt: skip
def test_what_does_not_count(change: Callable[[Lines], None], why: str, tmp_path: Path) -> None:
    lines = lines_of(DESIGN, CELL, 21.5)
    change(lines)
    found = counted(tmp_path, lines)
    assert isinstance(found, NotCounted)
    assert found.why == why
    assert found.wrong_unit == why.startswith("expected unit")


def test_a_unit_beyond_its_limits_belongs_into_a_study(tmp_path: Path) -> None:
    lines = lines_of(DESIGN, CELL, 95.0)
    ended(verdict="fail", cause="limit", message="95 °C", exit_code=1)(lines)
    found = counted(tmp_path, lines)
    assert isinstance(found, Measured)
    assert (found.verdict, found.values[READING].number) == ("fail", 95.0)


def test_a_guard_band_is_not_the_tolerance(tmp_path: Path) -> None:
    lines = lines_of(DESIGN, CELL, 21.5)
    lines[5]["judgement"] |= {"stated_low": -12, "stated_high": 92, "guard": "ISO 14253-1, U 2 °C"}
    found = counted(tmp_path, lines)
    assert isinstance(found, Measured)
    assert found.values[READING] == Value(21.5, "°C", -12, 92)


def test_of_a_stream_the_mean_counts(tmp_path: Path) -> None:
    lines = lines_of(DESIGN, CELL, 21.5)
    read(value=None, samples={"count": 3, "mean": 20.0})(lines)
    found = counted(tmp_path, lines)
    assert isinstance(found, Measured)
    assert found.values[READING].number == 20.0
