"""What a screen of the line shows, as data: no screen asks anything else."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, TypeAlias

from benchrig.record.line_part import Purpose

Word: TypeAlias = Literal["", "PASS", "FAIL", "STOP"]
SlotState: TypeAlias = Literal["empty", "proving", "waiting", "running", "ended", "off"]
LineState: TypeAlias = Literal["person", "ready", "question", "locked", "stopped", "ended"]


@dataclass(frozen=True)
class SlotView:
    """A slot. `says` is the failing step in plain words, `do` what to do next; `step` is what is done now, the
    `done`th `of` so many; `release`: the label of the unit has to be scanned when it is taken out; `asks`: the question that
    is open is about its unit."""

    name: str
    state: SlotState = "empty"
    word: Word = ""
    serial: str = ""
    product: str = ""
    purpose: Purpose = "unit"
    says: str = ""
    do: str = ""
    step: str = ""
    done: int = 0
    of: int = 0
    seconds: float = 0.0
    release: bool = False
    asks: bool = False


@dataclass(frozen=True)
class Asked:
    """A question that somebody has to answer, in a slot or ('') at the line; `left` seconds. What is typed or scanned answers
    it, one of `options` where there are some; `problem` is what was wrong with the last answer. It is about `unit`, whose label
    has to be scanned first while `scan` is set. `number` tells it from all others of the shift; `early`: a screen shows it
    too short a time for an answer."""

    text: str
    slot: str = ""
    options: tuple[str, ...] = ()
    left: float | None = None
    problem: str = ""
    unit: str = ""
    scan: bool = False
    number: int = 0
    early: bool = False


def asked_of(asked: Asked) -> str:
    """Where the question is, and which unit it is about."""
    if not asked.slot:
        return "question"
    return f"slot {asked.slot}, {asked.unit} asks" if asked.unit else f"slot {asked.slot} asks"


@dataclass(frozen=True)
class Counts:
    """Of a shift. A unit is judged once, by its first result; `not_judged` are those that were stopped."""

    judged: int = 0
    passed_first: int = 0
    failed_first: int = 0
    not_judged: int = 0
    retests: int = 0

    @property
    def first_pass(self) -> float | None:
        """The share of units that passed at first; None before the first one."""
        return self.passed_first / self.judged if self.judged else None


@dataclass(frozen=True)
class LastUnit:
    at: datetime
    serial: str
    slot: str
    word: Word
    says: str = ""
    purpose: Purpose = "unit"


@dataclass(frozen=True)
class LineView:
    """`message` and `do` say in words what the line waits for, or why it does not go on; `waiting` are the units that wait
    for a slot, `last` the newest ones first; `refused`: the message is why what was read last was not taken, and comes before all
    verdicts; `takt` and `last_takt` are seconds from unit to unit; with `ends` the shift ends after
    the units that are tested; `notes` are for whoever looks
    after the station."""

    station: str
    state: LineState
    shift: str = ""
    person: str = ""
    rehearsal: bool = False
    message: str = ""
    do: str = ""
    slots: tuple[SlotView, ...] = ()
    waiting: tuple[str, ...] = ()
    asked: Asked | None = None
    counts: Counts = field(default_factory=Counts)
    takt: float | None = None
    last_takt: float | None = None
    last: tuple[LastUnit, ...] = ()
    ends: bool = False
    notes: tuple[str, ...] = ()
    refused: bool = False
