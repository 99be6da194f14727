"""What a line may do: which unit is tested, when the line stops, which checks of the station are due, what they show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias

from benchrig.line.barcode import Match
from benchrig.line.shift import ShiftState
from benchrig.record.line_part import Purpose
from benchrig.record.model import Record
from benchrig.station.checks import Reference
from benchrig.station.rules import Retests, Stops
from benchrig.station.station import Station

Asked: TypeAlias = Literal["", "RETEST", "REPAIRED"]


@dataclass(frozen=True)
class Allowed:
    """The unit may be tested: as what, after which first run, as which test of it. `note` is for the operator."""

    purpose: Purpose = "unit"
    first: str = ""
    again: int = 0
    note: str = ""


@dataclass(frozen=True)
class NotAllowed:
    why: str
    do: str = ""


@dataclass(frozen=True)
class Due:
    """A check of the station: in `slot`, or in any one for ''."""

    name: str
    slot: str
    why: str
    do: str


def may_be_tested(
    state: ShiftState, match: Match, retest: Retests, now: datetime, asked: Asked = ""
) -> Allowed | NotAllowed:
    """Whether the unit of this label may be tested now, `asked` with the word that was scanned before it."""
    raise NotImplementedError


def stop_now(state: ShiftState, stops: Stops) -> str:
    """Why the line has to stop, in one sentence; '' where it has not."""
    raise NotImplementedError


def due(state: ShiftState, station: Station, now: datetime) -> list[Due]:
    """The checks of the station without which no unit is tested now."""
    raise NotImplementedError


def shown(reference: Reference, record: Record | None) -> str:
    """What is wrong with the check of the station that this run was; '' when the reference did what it must."""
    raise NotImplementedError


def continues(state: ShiftState, person: str, now: datetime, *, simulated: bool) -> bool:
    """Whether the shift that was open is still that of this person: after a power cut, not half a day later."""
    raise NotImplementedError


def clock_was_set_back(state: ShiftState, now: datetime) -> bool:
    """Whether the last event lies in the future."""
    raise NotImplementedError
