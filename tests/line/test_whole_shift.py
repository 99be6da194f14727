"""A whole shift at the real command, on a real pseudo-terminal: every word, figure, record and line of the log is that of the
table. `shift.txt` has 200 units, `shift_short.txt` a few of them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import pytest

from benchrig.record.journal import read_record
from benchrig.record.model import Record
from tests.cli.kit import here
from tests.line.shift_operator import Attempted, Log, Operator
from tests.line.shift_place import BADGE, OTHER_BADGE, furnish, unit_in
from tests.line.shift_rows import Deed, Entry, Row, rows, table, yields
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
    wrong: list[str]  # on the screen

    def ended(self, tested: Attempted) -> dict[str, Any]:
        """What the log says at the end of a unit."""
        [found] = [event for event in self.log.of("unit ended") if event["key"] == tested.key]
        return found

    def records(self) -> Iterator[tuple[Row, Record]]:
        for tested in self.tested:
            if folder := self.ended(tested).get("folder"):
                yield tested.row, read_record(self.folder / RESULTS / Path(folder).name)

    def deeds(self, verb: str) -> int:
        return sum(isinstance(entry, Deed) and entry.verb == verb for entry in self.entries)

    def where(self, that: Callable[[Row], bool]) -> int:
        return sum(map(that, rows(self.entries)))


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
        operator.close()
    return Shift(folder, entries, operator.done, operator.log, code, operator.wrong)


# Each says what is wrong.
Check: TypeAlias = Callable[[Shift], Iterator[str]]


def the_screen(shift: Shift) -> Iterator[str]:
    """Each word that was on it is that of its row."""
    yield from shift.wrong
    if shift.exit_code != 0:
        yield f"exit code {shift.exit_code}"


def each_unit_in_the_log(shift: Shift) -> Iterator[str]:
    for tested in shift.tested:
        row, ended = tested.row, shift.ended(tested)
        said = (ended["word"], ended.get("cause") or "", ended.get("step", ""))
        if said != (row.word, row.cause, row.step):
            yield f"{row}: {said} in the log, expected {(row.word, row.cause, row.step)}"


def the_unit_of_each_record(shift: Shift) -> Iterator[str]:
    """The address and the serial number in it are those of the very unit; a unit that was not there has none."""
    for row, record in shift.records():
        inside = unit_in(row.inside, row.serial)
        may = {inside, ("", inside[1])} if inside is not None else set()
        seen = {(device.serial, device.address) for device in record.devices.values()}
        if not seen <= may or (row.judged and bool(seen) != bool(may)):
            yield f"{row}: the record is about {seen}, in the slot was {inside}"


def what_each_record_says(shift: Shift) -> Iterator[str]:
    for row, record in shift.records():
        part = record.run.line
        assert part is not None
        verdict = {"PASS": "pass", "FAIL": "fail"}.get(row.word, record.verdict)
        said = (record.verdict, record.run.simulated, part.slot, part.person, part.reference, record.given_serial)
        if said != (verdict, True, row.slot, BADGE, row.reference, row.serial):
            yield f"{row}: {said} in the record"
        if not row.reference and part.purpose != PURPOSES[row.said]:
            yield f"{row}: {part.purpose} in the record"


def the_first_run_of_each_unit(shift: Shift) -> Iterator[str]:
    """Another test of a unit names it."""
    first: dict[str, str] = {}
    for row, record in shift.records():
        if row.judged and not row.reference:
            assert record.run.line is not None
            if record.run.line.first != first.get(row.serial, ""):
                yield f"{row}: {record.run.line.first} is not its first run"
            first.setdefault(row.serial, record.run.run_id)


def the_folders(shift: Shift) -> Iterator[str]:
    """Each row has its own; the others are those of a power cut, and of the clean-up after it."""
    folders = {path.parent.name for path in (shift.folder / RESULTS).glob("*/record.jsonl")}
    ended = [(tested.row, shift.ended(tested)) for tested in shift.tested]
    named = [Path(event["folder"]).name for _, event in ended if event.get("folder")]
    if len(named) != len({*named}):
        yield "two rows have one folder"
    yield from (f"{row} has no record" for row, event in ended if row.inside[:3] != "as " and not event.get("folder"))
    others = [read_record(shift.folder / RESULTS / name) for name in folders - {*named}]
    kinds = sorted((each.cut_off, each.run.line.purpose) for each in others if each.run.line is not None)
    cuts = shift.where(lambda row: "cut" in row.then)
    if kinds != [(False, "clean-up")] * cuts + [(True, "unit")] * cuts:
        yield f"folders of no row: {kinds}"


def what_happened_between_units(shift: Shift) -> Iterator[str]:
    log, cuts = shift.log, shift.where(lambda row: "cut" in row.then)
    refused = shift.deeds("refused") + shift.where(lambda row: row.word == "refused")
    expected = {
        "shift": 1, "shift ended": 1, "stopped": shift.deeds("stopped"), "cleared": shift.deeds("stopped"),
        "caution": shift.where(lambda row: "caution" in row.then), "cut off": cuts, "cleaned up": cuts, "refused": refused,
        "reference": shift.where(lambda row: bool(row.reference)),
    }  # fmt: skip
    found = {kind: log.count(kind) for kind in expected}
    if found != expected:
        yield f"in the log: {found}, expected {expected}"
    if {event["person"] for event in log.of("cleared")} - {OTHER_BADGE}:
        yield "the line was cleared by somebody else"
    failed = shift.where(lambda row: bool(row.reference) and row.word == "STOP")
    if [event["ok"] for event in log.of("reference")].count(False) != failed:
        yield f"not {failed} checks of the station failed"
    if any(not event["why"] for event in log.of("refused")):
        yield "refused without a reason"


def no_unit_is_left_open(shift: Shift) -> Iterator[str]:
    began = [event["key"] for event in shift.log.of("unit")]
    over = [event["key"] for event in (*shift.log.of("unit ended"), *shift.log.of("cut off"))]
    if sorted(began) != sorted(over) or len(began) != len({*began}):
        yield "not each unit that began has one end"


def the_yield_of_the_history(shift: Shift) -> Iterator[str]:
    done = here("yield", "--simulated", "--json", "--history", "history.sqlite", cwd=shift.folder)
    told = {" ".join(each["plans"]): each for each in json.loads(done.stdout)["yields"]}
    found = {
        plan: (one["first_pass"]["of"], one["first_pass"]["passed"], one["final"]["passed"])
        for plan, one in told.items()
    }
    expected = yields(tested.row for tested in shift.tested)
    if found != expected:
        yield f"the history has {found}, expected {expected}"


CHECKS: tuple[Check, ...] = (
    the_screen, each_unit_in_the_log, the_unit_of_each_record, what_each_record_says, the_first_run_of_each_unit, the_folders,
    what_happened_between_units, no_unit_is_left_open, the_yield_of_the_history,
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "count"),
    [("shift_short.txt", 13), pytest.param("shift.txt", 200, marks=[pytest.mark.slow, pytest.mark.timeout(400)])],
)
def test_a_shift(tmp_path: Path, name: str, count: int) -> None:
    shift = worked(tmp_path, table(name))
    expected = [str(row) for row in rows(shift.entries) if row.word in ("PASS", "FAIL", "STOP")]
    assert sorted(str(tested.row) for tested in shift.tested) == sorted(expected)
    assert shift.where(lambda _: True) == count
    assert not (wrong := [f"{check.__name__}: {what}" for check in CHECKS for what in check(shift)]), "\n".join(wrong)
