"""What happens at a line: one line of `line.jsonl` each. What they add up to is `shift.py`.

`at` is wall time. A `key` is that of one test of one unit, a `unit` whose test it is: the serial number of its barcode, or what
else tells its units apart. Every text from a label is escaped.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal, TypeAlias

import msgspec

from benchrig.errors import Cause, speaks_of_unit
from benchrig.record.events import Verdict
from benchrig.record.line_part import OF_THE_STATION, Purpose

Moment: TypeAlias = Annotated[datetime, msgspec.Meta(tz=True)]
Word: TypeAlias = Literal["PASS", "FAIL", "STOP"]
_JUDGED = (("PASS", "pass"), ("FAIL", "fail"))


class LineEvent(msgspec.Struct, tag_field="event", omit_defaults=True, frozen=True, kw_only=True):
    at: Moment


# --- shifts and who is on them


class ShiftBegan(LineEvent, tag="shift", frozen=True, kw_only=True):
    shift: str  # its id
    person: str
    station: str
    station_hash: str  # SHA-256 of the station file
    simulated: bool = False
    version: str = ""  # of benchrig


class PersonCame(LineEvent, tag="person", frozen=True, kw_only=True):
    """Somebody else has the shift, or the same person after the line was closed without an end of the shift."""

    person: str


class ShiftEnded(LineEvent, tag="shift ended", frozen=True, kw_only=True):
    person: str = ""
    why: str = ""


class CautionRead(LineEvent, tag="caution", frozen=True, kw_only=True):
    """The caution of a plan, with what would be written or called, was acknowledged."""

    person: str
    plan_hash: str
    text: str = ""


# --- what was typed or scanned


class Scanned(LineEvent, tag="scan", frozen=True, kw_only=True):
    text: str
    kind: str = ""  # what it was taken for: 'unit', 'word', 'slot', 'person', 'reference', 'answer'


class Answered(LineEvent, tag="answer", frozen=True, kw_only=True):
    """A question was answered, in a slot about a unit or ('') at the line. What nobody may read afterwards is not kept."""

    question: str
    answer: str
    person: str
    slot: str = ""
    unit: str = ""


class Refused(LineEvent, tag="refused", frozen=True, kw_only=True):
    text: str
    why: str
    slot: str = ""


# --- units


class UnitBegan(LineEvent, tag="unit", frozen=True, kw_only=True):
    """A unit is to be tested in this slot. Whether it is the one that is in it is proven after that."""

    key: str
    unit: str
    slot: str
    product: str
    barcode: str
    serial: str = ""
    purpose: Purpose = "unit"
    reference: str = ""  # the name of the unit that checks the station
    first: str = ""  # the id of the first run of this unit, where this is another one
    again: int = 0  # how many tests of it were before


class RunBegan(LineEvent, tag="run", frozen=True, kw_only=True):
    """The unit is proven, and its run begins."""

    key: str
    folder: str
    plan: str = ""  # the file
    plan_hash: str = ""
    limits_hash: str = ""
    address: str = ""
    proof: str = ""


class UnitEnded(LineEvent, tag="unit ended", frozen=True, kw_only=True):
    """`word` is what the operator saw. STOP for a unit that was not judged, with or without a run."""

    key: str
    word: Word
    verdict: Verdict | None = None  # of the run; None without one
    cause: Cause | None = None
    step: str = ""  # the one that decided
    reading: str = ""  # of it, where a limit on a reading decided
    message: str = ""
    run_id: str = ""
    folder: str = ""
    serial: str = ""  # that the proven unit told in the run, and its address where it keeps that
    address: str = ""
    proof: str = ""
    seconds: float = 0.0  # from the scan to the word
    takt: float | None = None  # since the word of the unit before, in this shift

    @property
    def judged(self) -> bool:
        """Whether it counts for its unit. A word alone is not enough: the run has to speak of the unit."""
        verdict = self.verdict or ""
        return (self.word, verdict) in _JUDGED and speaks_of_unit(verdict, self.cause or "")

    @property
    def of_the_station(self) -> bool:
        """Whether the station is to blame that it was not judged."""
        return not self.judged and self.cause in ("station", "internal")


class Released(LineEvent, tag="released", frozen=True, kw_only=True):
    """The unit has left its slot."""

    key: str
    slot: str


class Withheld(LineEvent, tag="withheld", frozen=True, kw_only=True):
    """The verdict of this test was given to nobody: its record keeps it, but nothing shows which unit was in the slot. The
    unit counts as not judged."""

    key: str
    slot: str
    why: str


class CutOff(LineEvent, tag="cut off", frozen=True, kw_only=True):
    """The line died while this unit was tested: it counts as not tested."""

    key: str
    message: str = ""


class CleanedUp(LineEvent, tag="cleaned up", frozen=True, kw_only=True):
    """The clean-up of a unit that was cut off was done, or somebody chose to leave it."""

    key: str
    person: str
    ok: bool
    run_id: str = ""
    message: str = ""


# --- the station


class ReferenceChecked(LineEvent, tag="reference", frozen=True, kw_only=True):
    """A unit that checks the station did what it must, or not."""

    name: str
    slot: str
    ok: bool
    run_id: str = ""
    why: str = ""


class LineStopped(LineEvent, tag="stopped", frozen=True, kw_only=True):
    why: str


class LineCleared(LineEvent, tag="cleared", frozen=True, kw_only=True):
    person: str
    why: str = ""


class FileChanged(LineEvent, tag="file changed", frozen=True, kw_only=True):
    """The station file is another one; `taken` with `by` when somebody has acknowledged it."""

    old: str
    new: str
    taken: bool = False
    by: str = ""


class ToldStation(LineEvent, tag="told", frozen=True, kw_only=True):
    """The command after a unit was run."""

    key: str
    ok: bool
    message: str = ""


class ClockBack(LineEvent, tag="clock back", frozen=True, kw_only=True):
    """The clock of the computer was set back: what `before` says is later than now."""

    before: Moment


class TornLine(LineEvent, tag="torn", frozen=True, kw_only=True):
    """The line before this one was cut off when its process died."""

    line: int


AnyLineEvent: TypeAlias = (
    ShiftBegan
    | PersonCame
    | ShiftEnded
    | CautionRead
    | Scanned
    | Answered
    | Refused
    | UnitBegan
    | RunBegan
    | UnitEnded
    | Released
    | Withheld
    | CutOff
    | CleanedUp
    | ReferenceChecked
    | LineStopped
    | LineCleared
    | FileChanged
    | ToldStation
    | ClockBack
    | TornLine
)


def counts_for_unit(purpose: Purpose) -> bool:
    """Whether such a test says something of how good the units are that are made."""
    return purpose not in OF_THE_STATION
