"""What is said of a unit that is taken out of a slot which shares its radio: its verdict, or that nobody is given one.

Nothing on the air tells in which of these slots a unit is. The one that answered to a label may be another one than the one
that wears it, as long as a unit is there that nobody has scanned: then the verdict is held back.
"""

from __future__ import annotations

from dataclasses import replace

from benchrig.line.events import Released, Withheld, counts_for_unit
from benchrig.line.settling import ASIDE, TWO_UNITS
from benchrig.line.slot import Shown, Slot
from benchrig.line.work import Work

AGAIN = "take away what is not in the fixture, and scan the label again"


def strangers(work: Work, slot: Slot) -> tuple[str, ...]:
    """The addresses of units that may be the one in this slot, while another one was tested under its label. A word that
    judges nothing, and one that no unit answered for, is nobody else's."""
    ending = slot.ending
    if ending is None or not ending.proven or ending.word == "STOP" or slot.doubled:
        return ()
    return work.prover.unaccounted(slot.name, work.memory.known) if counts_for_unit(slot.allowed.purpose) else ()


def hold(slot: Slot, addresses: tuple[str, ...]) -> None:
    """Its label was scanned, and no word is shown as long as these are there."""
    if not addresses:
        slot.held = ""
        return
    one = len(addresses) == 1
    there = "another unit is there whose label was not scanned" if one else "other units are there, not scanned yet"
    slot.held = f"{there}: {', '.join(addresses[:3])}" + (", ..." if len(addresses) > 3 else "")


def give(work: Work, slot: Slot) -> None:
    """The verdict is its, and is shown; but for a label that two units have. StationError when it cannot be written."""
    if slot.doubled:
        withhold(work, slot, TWO_UNITS, ASIDE)
    work.memory.note(Released(at=work.memory.now(), key=slot.key, slot=slot.name))
    slot.release, slot.held = False, ""


def withhold(work: Work, slot: Slot, why: str, do: str = AGAIN) -> None:
    """Nobody is given the verdict; the record keeps it. StationError when it cannot be written."""
    if slot.ending is not None and slot.ending.word != "STOP":
        work.memory.note(Withheld(at=work.memory.now(), key=slot.key, slot=slot.name, why=why))
    if slot.ending is not None:
        slot.ending = replace(slot.ending, word="STOP", says=why, do=do, cause="operator")
        slot.shown = Shown("STOP", why, do)
    slot.release, slot.held = False, ""
