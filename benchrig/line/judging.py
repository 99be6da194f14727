"""What a run says of the unit in a slot. The verdict is that of the record on the disk, of the unit that was proven."""

from __future__ import annotations

from dataclasses import dataclass

from benchrig.errors import BenchrigError, Cause, UsageError
from benchrig.launch import Finished
from benchrig.line import telling
from benchrig.line.proof import Expected, Found, Outcome, Proven, Unconfirmed, WrongLabel
from benchrig.line.view import Word
from benchrig.record.events import Verdict
from benchrig.record.journal import read_record
from benchrig.record.model import Record


@dataclass(frozen=True)
class Ending:
    """What became of a unit: the `word` of the screen, with what is to be said and done, and the record where there is one.
    `proven`: the record is about the unit of the label."""

    word: Word
    says: str = ""
    do: str = ""
    cause: Cause | None = None
    record: Record | None = None
    folder: str = ""
    proof: str = ""
    proven: bool = False

    @property
    def verdict(self) -> Verdict | None:
        return self.record.verdict if self.record is not None else None

    @property
    def step(self) -> str:
        """The step that decided."""
        return telling.step_of(self.record) if self.record is not None else ""

    @classmethod
    def stopped(cls, why: str, cause: Cause, do: str = "", proof: str = "") -> Ending:
        """Without a run."""
        return cls("STOP", why, do or telling.to_do("STOP", cause), cause, proof=proof)

    @classmethod
    def failed(cls, error: BenchrigError) -> Ending:
        return cls.stopped(error.message, error.cause, error.advice)


def on_disk(finished: Finished) -> Record | str:
    """The record as it is on the disk, or why it does not count: it is gone, or not what the run came to."""
    try:
        record = read_record(finished.folder)
    except UsageError as error:
        return error.message
    made = finished.record
    if record.ended is None or (record.run.run_id, record.ended) != (made.run.run_id, made.ended):
        trouble = next((each.message for each in finished.troubles), "")
        return trouble or f"the record in {finished.folder} is not whole"
    return record


def ending(finished: Finished, record: Record | str, outcome: Outcome, expected: Expected) -> Ending:
    """Never PASS for a record that is not on the disk, lacks its reports, or is about another unit."""
    proof, proven = outcome.words, isinstance(outcome, Proven)
    if isinstance(record, str):
        stopped = Ending.stopped(f"there is no record of this run: {record}", "station", proof=proof)
        return _with_record(stopped, finished.record, str(finished.folder), proven=proven)
    word, cause = telling.word_of(record), record.cause
    says = telling.says(record)
    if word == "PASS" and (why := _against(record, outcome, expected, finished)):
        word, cause, says = "STOP", "station", why
    do = telling.to_do(word, cause)
    if word == "FAIL" and isinstance(outcome, WrongLabel):
        says, do = telling.wrong_label(outcome.serial or outcome.address, says), telling.RELABEL
    return Ending(word, says, do, cause, record, str(finished.folder), proof, proven)


def _with_record(stopped: Ending, record: Record, folder: str, *, proven: bool) -> Ending:
    return Ending("STOP", stopped.says, stopped.do, stopped.cause, record, folder, stopped.proof, proven)


def _against(record: Record, outcome: Outcome, expected: Expected, finished: Finished) -> str:
    """Why a pass of this record is none of the unit of the label; '' where it is one."""
    if finished.troubles:
        return finished.troubles[0].message
    unit = record.unit
    if unit is None:
        return "the run passed without having met a unit"
    if not isinstance(outcome, (Proven, Unconfirmed)):
        return f"the unit of the label was not proven to be the one that was tested: {outcome.words}"
    return _another(outcome, unit.address, unit.serial, expected)


def _another(outcome: Found, address: str, serial: str, expected: Expected) -> str:
    if not outcome.private and address.upper() != outcome.address.upper():
        return f"the unit in the slot is {outcome.address}, and the run was about {address or 'none'}"
    if expected.serial and serial and serial != expected.serial:
        return f"the serial number of the label is {expected.serial}, that of the unit {serial}"
    if isinstance(outcome, Unconfirmed) and serial != (expected.serial or None):
        return f"the unit did not tell which one it is: {outcome.words}"
    return ""
