"""What follows from a verdict: it goes into the memory of the line first, then onto the screen, then to who needs it."""

from __future__ import annotations

import asyncio
from dataclasses import replace

from benchrig.line import telling
from benchrig.line.events import CleanedUp, ReferenceChecked, UnitEnded, counts_for_unit
from benchrig.line.judging import Ending
from benchrig.line.known_units import kept_address, serial_read
from benchrig.line.passage import Passage
from benchrig.line.rules import Allowed, may_be_tested, shown
from benchrig.line.slot import Shown, Slot
from benchrig.line.work import Work
from benchrig.station.station import Station

TWO_UNITS = "two units have this label"
ASIDE = "put both units aside: neither is judged"
AS_IT_MUST = "the station judges this unit as it must"


def settle(passage: Passage, ending: Ending) -> Ending:
    """What holds. StationError when it cannot be written: nobody was told a verdict then, and the slot says STOP."""
    work, slot = passage.work, passage.slot
    if slot.allowed.purpose in ("golden", "known bad"):
        ending = of_reference(passage.station, slot, ending)
    elif slot.allowed.purpose == "clean-up":
        ending = of_clean_up(ending)
    if slot.doubled:
        ending = of_doubled(ending)
    _note(work, slot, ending)
    do = telling.again(was_met=_was_met(ending)) if _may_again(work, slot, ending) else ending.do
    slot.end(Shown(ending.word if slot.allowed.purpose != "clean-up" or ending.cause else "", ending.says, do))
    work.notes["last check"] = "; ".join(passage.notes)
    if passage.finished is not None and passage.finished.delivery is not None:
        work.deliveries.add(passage.finished.delivery)
    return ending


def of_reference(station: Station, slot: Slot, ending: Ending) -> Ending:
    """STOP where it did not do what it must; else the word of its record, which nobody takes for that of a unit."""
    assert slot.match is not None
    name = slot.match.reference
    why = ending.says if ending.word == "STOP" else _of_another(ending)
    why = why or shown(station.references[name], ending.record)
    if why:
        do = "the station is locked: call whoever looks after it, and scan the label of this unit again"
        if ending.word == "STOP" and ending.cause == "operator":
            do = ending.do  # the station is not to blame
        return replace(
            ending,
            word="STOP",
            says=why,
            do=do,
            cause=ending.cause if ending.word == "STOP" else "station",
        )
    says = f"{AS_IT_MUST}: {ending.says}" if ending.says else AS_IT_MUST
    return replace(ending, says=says, do="put it back into its box")


def _of_another(ending: Ending) -> str:
    """A unit that fails shows nothing of the station where it is not the one of the label: any bad one would do."""
    is_open = ending.word == "FAIL" and not ending.proven
    return f"nothing proves that it is the unit of the label: {ending.proof}" if is_open else ""


def of_doubled(ending: Ending) -> Ending:
    """Where slots share a radio a label alone tells which unit is taken out: one that two units have tells nothing."""
    return replace(ending, word="STOP", says=TWO_UNITS, do=ASIDE, cause="operator")


def of_clean_up(ending: Ending) -> Ending:
    """It judges nothing: the unit is as it was before its test, or it is said that it is not."""
    steps = [node for node in ending.record.nodes if node.planned.section == "finally"] if ending.record else []
    if ending.proven and steps and all(step.counts_as == "pass" and step.ended is not None for step in steps):
        return replace(ending, word="STOP", says="cleaned up, not tested", do="scan its label to test it", cause=None)
    if _is_put_off(ending):
        return replace(ending, word="STOP", do="the clean-up is offered again when the line is started again")
    says = ending.says or "not all of it was cleaned up"
    return replace(
        ending, word="STOP", says=says, do="call whoever looks after the station", cause=ending.cause or "link"
    )


def _was_met(ending: Ending) -> bool:
    return ending.record is not None and ending.record.unit is not None


def _is_put_off(ending: Ending) -> bool:
    """Whether nothing was done to the unit: somebody did not want it now."""
    return ending.record is None and ending.cause == "operator"


def _note(work: Work, slot: Slot, ending: Ending) -> None:
    memory, record = work.memory, ending.record
    now = asyncio.get_running_loop().time()
    memory.note(
        UnitEnded(
            at=memory.now(),
            key=slot.key,
            word=ending.word or "STOP",
            verdict=ending.verdict,
            cause=ending.cause,
            step=telling.step_of(record) if record is not None else "",
            reading=telling.reading_of(record) if record is not None else "",
            message=ending.says,
            run_id=record.run.run_id if record is not None else "",
            folder=ending.folder,
            serial=serial_read(record) if record is not None and ending.proven else "",
            address=kept_address(record) if record is not None and ending.proven else "",
            proof=ending.proof,
            seconds=round(now - slot.began, 3),
            takt=work.takt() if counts_for_unit(slot.allowed.purpose) else None,
        )
    )
    if slot.allowed.purpose == "clean-up" and not _is_put_off(ending):
        _note_clean_up(work, slot, ending)
    elif slot.match is not None and slot.match.reference and slot.allowed.purpose != "clean-up":
        _note_reference(work, slot, ending)


def _note_reference(work: Work, slot: Slot, ending: Ending) -> None:
    assert slot.match is not None
    why, run_id = ending.says if ending.word == "STOP" else "", ending.record.run.run_id if ending.record else ""
    work.memory.note(
        ReferenceChecked(
            at=work.memory.now(), name=slot.match.reference, slot=slot.name, ok=not why, run_id=run_id, why=why
        )
    )


def _note_clean_up(work: Work, slot: Slot, ending: Ending) -> None:
    run_id = ending.record.run.run_id if ending.record else ""
    work.memory.note(
        CleanedUp(
            at=work.memory.now(),
            key=slot.cleans,
            person=work.memory.state.person,
            ok=ending.cause is None,
            run_id=run_id,
            message=ending.says,
        )
    )


def _may_again(work: Work, slot: Slot, ending: Ending) -> bool:
    """Whether the station's rules let the unit be tested again with nothing done to it."""
    if (
        ending.word != "FAIL"
        or ending.do == telling.RELABEL
        or slot.match is None
        or slot.match.product not in work.station.products
        or not counts_for_unit(slot.allowed.purpose)
    ):
        return False
    memory = work.memory
    return isinstance(may_be_tested(memory.state, work.station, slot.match, memory.now(), "RETEST"), Allowed)
