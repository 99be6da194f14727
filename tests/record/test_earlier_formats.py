"""Records of formats 2 to 4 are read, and those of format 5 from before there was a line. Those in `format2/`, … were written by
the last versions that wrote them, those in `format5/` by 0.8.0."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchrig.record.accounting import unaccounted
from benchrig.record.events import FORMAT, AnyEvent
from benchrig.record.journal import read_record
from benchrig.report import explain, whole
from benchrig.report.brought import all_reports
from tests.report.schemas import errors
from tests.run.kit import plan_text, run

HERE = Path(__file__).parent
SAMPLES = sorted(HERE.glob("format[2-5]/*.jsonl"))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_line_says_the_same(path: Path) -> None:
    kind: Any = AnyEvent
    for line in path.read_text("utf-8").splitlines():
        assert json.loads(msgspec.json.encode(msgspec.json.decode(line.encode(), type=kind))) == json.loads(line)


def test_today_s_records_have_one_format() -> None:
    flat = "  - wait: 1 s\n    expect: {elapsed: {max: 2 s}}\n"
    deep = "  - repeat: 2\n    steps: [{wait: 1 s}]\n"
    assert [run(plan_text(each)).record.run.format for each in (flat, flat + deep)] == [FORMAT, FORMAT]


@pytest.mark.parametrize(
    ("name", "verdict", "line", "given"),
    [
        ("format2/end_of_line_returned_logger", "fail", "4 of 17 steps passed, 9 failed, 4 skipped; 13 limits judged, 4 "
         "broken, 15 not judged", "VFL3-000042"),
        ("format2/twelve_checks_sensor", "pass", "10 of 10 steps passed; 14 limits judged, 0 broken", ""),
        ("format3/box_end_of_line_transport_box", "pass", "51 of 51 steps passed; 93 limits judged, 0 broken", "PTB2-000113"),
        ("format4/look_at_battery_logger", "pass", "4 of 4 steps passed; 1 limit judged, 0 broken", ""),
        ("format5/smoke_logger", "pass", "5 of 5 steps passed; 5 limits judged, 0 broken", ""),
    ],
)  # fmt: skip
def test_what_is_in_them(name: str, verdict: str, line: str, given: str) -> None:
    record = read_record(HERE / f"{name}.jsonl")
    assert (record.run.format, explain.outcome(record), explain.given_serial(record)) == (int(name[6]), verdict, given)
    assert line in whole.verdict_line(record)
    assert unaccounted(record) == []
    rendered = {choice.report.name: choice.render(record) for choice in all_reports()}
    assert all(rendered.values())
    assert errors(rendered["junit"], "junit-10") == []
