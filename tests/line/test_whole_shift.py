"""A whole shift at the real command, on a real pseudo-terminal: every word, figure, record and line of the log is that of the
table `shift.txt`."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from benchrig.record.journal import read_record
from benchrig.record.model import Record
from tests.cli.kit import here
from tests.line.shift_operator import Attempted, Log, Operator
from tests.line.shift_place import BADGE, OTHER_BADGE, furnish, unit_in
from tests.line.shift_rows import Entry, Row, rows, table, yields
from tests.line.terminal import LineTerminal

RESULTS = "results-rehearsal"
PURPOSES = {"": "unit", "RETEST": "retest", "REPAIRED": "repaired"}


@dataclass
class Shift:
    """What is left of a shift."""

    folder: Path
    entries: list[Entry]
    tested: list[Attempted]
    log: Log
    exit_code: int
    wrong: list[str]

    def event(self, kind: str, tested: Attempted) -> dict[str, Any]:
        """The one of this kind about a unit."""
        [found] = [event for event in self.log.of(kind) if event["key"] == tested.key]
        return found


def worked(folder: Path, entries: list[Entry]) -> Shift:
    furnish(folder)
    approved = here("line", "approve", "line.yaml", "--by", "A. Berg", cwd=folder)
    assert approved.returncode == 0, approved.stderr

    def start() -> LineTerminal:
        return LineTerminal(folder, "line", "run", "line.yaml")

    operator = Operator(folder, start(), Log(folder / RESULTS / "line.jsonl"), start)
    try:
        for entry in entries:
            operator.take(entry)
        code = operator.terminal.end()
    finally:
        operator.terminal.kill()
    return Shift(folder, entries, operator.done, operator.log, code, operator.wrong)


@pytest.fixture(scope="module")
def shift(tmp_path_factory: pytest.TempPathFactory) -> Shift:
    return worked(tmp_path_factory.mktemp("shift"), table())


pytestmark = [pytest.mark.slow, pytest.mark.timeout(400)]


def test_every_row_was_worked(shift: Shift) -> None:
    """And each word that was on the screen is that of its row."""
    assert not shift.wrong, "\n".join(shift.wrong)
    accepted = [row for row in rows(shift.entries) if row.word in ("PASS", "FAIL", "STOP")]
    assert sorted(str(tested.row) for tested in shift.tested) == sorted(map(str, accepted))
    assert len([*rows(shift.entries)]) == 200
    assert shift.exit_code == 0


def test_the_log_says_of_each_unit_what_the_table_says(shift: Shift) -> None:
    wrong = []
    for tested in shift.tested:
        row, ended = tested.row, shift.event("unit ended", tested)
        said = (ended["word"], ended.get("cause") or "", ended.get("step", ""))
        if said != (row.word, row.cause, row.step):
            wrong.append(f"{row}: {said}")
    assert not wrong, "\n".join(wrong)


def record_of(shift: Shift, tested: Attempted) -> Record:
    return read_record(shift.folder / RESULTS / Path(shift.event("unit ended", tested)["folder"]).name)


def with_record(shift: Shift) -> list[Attempted]:
    return [tested for tested in shift.tested if shift.event("unit ended", tested).get("folder")]


def test_each_record_is_that_of_the_unit_in_the_slot(shift: Shift) -> None:
    """The address and the serial number in it are those of the very unit; a unit that was not there has none."""
    wrong = []
    for tested in with_record(shift):
        row, record = tested.row, record_of(shift, tested)
        inside = unit_in(row.inside, row.serial)
        seen = {(device.serial, device.address) for device in record.devices.values()}
        may = {inside, ("", inside[1])} if inside is not None else set()
        if not seen <= may or (row.judged and bool(seen) != bool(may)):
            wrong.append(f"{row}: {seen}, in the slot was {inside}")
    assert not wrong, "\n".join(wrong)


def test_only_what_the_line_stopped_before_the_run_has_no_record(shift: Shift) -> None:
    without = [tested.row for tested in shift.tested if tested not in with_record(shift)]
    assert {row.word for row in without} <= {"STOP"}
    assert all(row.inside.startswith("as ") for row in without)


def test_each_record_has_the_verdict_and_says_what_it_was_at_the_line(shift: Shift) -> None:
    wrong = []
    for tested in with_record(shift):
        row, record = tested.row, record_of(shift, tested)
        part = record.run.line
        assert part is not None
        verdict = {"PASS": "pass", "FAIL": "fail"}.get(row.word, record.verdict)
        said = (record.verdict, record.run.simulated, part.slot, part.person, part.reference, record.given_serial)
        if said != (verdict, True, row.slot, BADGE, row.reference, row.serial):
            wrong.append(f"{row}: {said}")
        if not row.reference and row.then != ("clean-up",) and part.purpose != PURPOSES[row.said]:
            wrong.append(f"{row}: {part.purpose}")
    assert not wrong, "\n".join(wrong)


def test_another_test_of_a_unit_names_its_first_run(shift: Shift) -> None:
    first: dict[str, str] = {}
    for tested in shift.tested:
        row = tested.row
        if row.reference or not row.judged:
            continue
        record = record_of(shift, tested)
        assert record.run.line is not None
        assert record.run.line.first == first.get(row.serial, ""), row
        first.setdefault(row.serial, record.run.run_id)


def test_each_folder_of_the_results_is_that_of_one_row(shift: Shift) -> None:
    """But for the run that was cut off, and the clean-up after it."""
    folders = {path.parent.name for path in (shift.folder / RESULTS).glob("*/record.jsonl")}
    named = [Path(shift.event("unit ended", tested)["folder"]).name for tested in with_record(shift)]
    assert len(named) == len({*named})
    others = [read_record(shift.folder / RESULTS / name) for name in folders - {*named}]
    assert sorted((each.cut_off, each.run.line.purpose) for each in others if each.run.line) == [
        (False, "clean-up"), (True, "unit"),
    ]  # fmt: skip


def test_the_log_has_what_happened_between_units(shift: Shift) -> None:
    log = shift.log
    assert [event["person"] for event in log.of("cleared")] == [OTHER_BADGE, OTHER_BADGE]
    assert len(log.of("stopped")) == 2
    assert [event["ok"] for event in log.of("reference")].count(False) == 2
    assert [event["person"] for event in log.of("caution")] == [BADGE]
    assert len(log.of("cut off")) == len(log.of("cleaned up")) == 1
    assert len(log.of("shift")) == 1
    assert log.events[-1]["event"] == "shift ended"


def test_no_unit_is_left_open_in_the_log(shift: Shift) -> None:
    began = [event["key"] for event in shift.log.of("unit")]
    over = [event["key"] for event in (*shift.log.of("unit ended"), *shift.log.of("cut off"))]
    assert sorted(began) == sorted(over)
    assert len(began) == len({*began})


def test_what_is_no_unit_or_may_not_be_tested_is_refused_in_the_log(shift: Shift) -> None:
    refused = [row for row in rows(shift.entries) if row.word == "refused"]
    labels = [entry for entry in shift.entries if not isinstance(entry, Row) and entry.verb == "refused"]
    assert len(shift.log.of("refused")) == len(refused) + len(labels)
    assert all(event["why"] for event in shift.log.of("refused"))


def test_the_history_has_the_yield_of_the_table(shift: Shift) -> None:
    done = here("yield", "--simulated", "--json", "--history", "history.sqlite", cwd=shift.folder)
    told = {" ".join(each["plans"]): each for each in json.loads(done.stdout)["yields"]}
    assert {
        plan: (one["first_pass"]["of"], one["first_pass"]["passed"], one["final"]["passed"]) for plan, one in told.items()
    } == yields(tested.row for tested in shift.tested)  # fmt: skip
