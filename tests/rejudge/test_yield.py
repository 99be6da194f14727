"""The yield of runs that are judged again is that of the history, as far as the runs themselves go."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from benchrig.figures.yields import yields_of
from benchrig.history.adding import add_record
from benchrig.history.opening import open_history
from benchrig.history.questions.filters import Filters
from benchrig.record.events import AnyEvent, RunEnded
from benchrig.record.journal import read_record
from benchrig.rejudge.several import rejudge_all
from tests.history.folders import end_of_line, write

PLAN = """\
plan: sensors
device: {select: {name: X}}
steps:
  - connect:
  - {read: temperature, name: read sensor 1, expect: {value: {max: 8 °C}}}
"""


def run(number: int, unit: int, *values: float, end: dict[str, Any] | None = None, **head: Any) -> list[AnyEvent]:
    events = end_of_line(number, values=values or (5.0,))
    events[0], events[-1] = replace(events[0], **head), replace(events[-1], **(end or {}))
    events[1] = replace(events[1], serial=f"U{unit}", address=f"C4:00:00:00:00:{unit:02X}")
    return events


def silent(events: list[AnyEvent]) -> list[AnyEvent]:
    """The link was lost before the serial number was read."""
    return [events[0], replace(events[1], serial=""), RunEnded(1.0, "fail", 1, 0, "link", message="lost", planned=1)]


def test_the_yield_before_is_that_of_the_history(tmp_path: Path) -> None:
    runs: Sequence[list[AnyEvent]] = [
        silent(run(1, 1)), run(2, 1),  # one unit
        run(3, 2, started="2026-01-05T09:00:00+05:00"), run(4, 2, 9.0, started="2026-01-05T05:30:00Z"),  # passed first
        run(5, 3, end={"verdict": "error", "exit_code": 5, "cause": "plan"}),
        run(6, 4, end={"verdict": "error", "exit_code": 7, "cause": "station"}),
        silent(run(7, 5, given={"serial": "U2"})),
        run(8, 6, left_out=2),
    ]  # fmt: skip
    folders = [write(tmp_path / f"run {number}", events) for number, events in enumerate(runs)]
    plan = tmp_path / "plan.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    before = rejudge_all([tmp_path], plan, None).before
    with open_history(str(tmp_path / "history.sqlite"), make=True) as history:
        for folder in folders:
            add_record(history, read_record(folder), folder)
        [figure] = yields_of(history, Filters())
    assert (before.first_pass, before.final) == (figure.first_pass, figure.final)
    assert [(each.passed, each.of) for each in (before.first_pass, before.final)] == [(1, 2), (1, 2)]
