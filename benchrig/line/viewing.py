"""The state of a line as a screen shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from benchrig.line import telling
from benchrig.line.floor import Floor
from benchrig.line.questions import Question
from benchrig.line.reading import Reading
from benchrig.line.rules import Due
from benchrig.line.shift import ShiftState, Test
from benchrig.line.slot import Slot
from benchrig.line.view import LastUnit, LineState, LineView, SlotView
from benchrig.line.work import Work

_CLEAR = "scan CLEAR when the reason is gone"
ENDS = "the shift ends after these units"
# Units in the history of a screen.
_LAST = 20


def view_of(reading: Reading, bug: str, *, is_over: bool) -> LineView:
    work, floor = reading.work, reading.floor
    state = work.memory.state
    asked = work.questions.open
    now_is = _state(reading, bug, is_over=is_over)
    message, do = _said(reading, bug, now_is)
    return LineView(
        station=work.station.station,
        state=now_is,
        shift=state.shift,
        person=state.person if reading.is_manned else "",
        rehearsal=work.simulated,
        message=message,
        do=do,
        slots=tuple(_slot(slot, asked) for slot in floor.slots.values()),
        waiting=tuple(scan.match.serial or scan.match.unit for scan in floor.waiting),
        asked=asked.shown() if asked is not None else None,
        counts=state.counts,
        takt=work.station.takt.seconds if work.station.takt else None,
        last_takt=_last_takt(state),
        ends=reading.ended and not is_over,
        last=tuple(_last(test, _hidden(reading, test)) for test in [*state.last][:_LAST]),
        refused=floor.is_refusing and asked is None,
        notes=tuple(filter(None, (*work.notes.values(), work.deliveries.note, _clock(work)))),
    )


def _slot(slot: Slot, asked: Question | None) -> SlotView:
    """That whose unit the open question is about says so, as large as a verdict."""
    shown = slot.view()
    if asked is None or asked.slot != slot.name or not slot.is_at_work:
        return shown
    do = f"scan the label of {asked.unit}, then answer" if asked.scan else "look at this unit, and answer"
    return replace(shown, asks=True, says=shown.says or asked.unit, do=do)


def _clock(work: Work) -> str:
    return "the clock of this computer was set back: check it" if work.memory.set_back else ""


def _state(reading: Reading, bug: str, *, is_over: bool) -> LineState:
    if is_over:
        return "ended"
    if reading.work.questions.open is not None:
        return "question"
    if bug or reading.is_stopped:
        return "stopped"
    if not reading.is_manned:
        return "person"
    return "locked" if reading.floor.due() else "ready"


def _said(reading: Reading, bug: str, state: LineState) -> tuple[str, str]:
    """What the line waits for, and what to do."""
    work, floor = reading.work, reading.floor
    said = floor.said
    if state == "stopped":
        return (said.message, said.do) if said.first and not bug else _stopped(reading, bug)
    if state == "person":
        badge = "scan your badge" if work.station.people is not None else "type your name"
        return said.message or "who is on shift?", badge
    if state == "locked":
        missing = floor.due()
        why = _missing(missing, _waits(floor))
        return (said.message, said.do or missing[0].do) if floor.is_refusing or said.first else (why, missing[0].do)
    if state == "ended":
        return _ended(reading), ""
    if reading.ended:
        return said.message or ENDS, said.do or ENDS
    return said.message, said.do or _next(floor)


def _missing(due: Sequence[Due], waits: str) -> str:
    """All checks that are due and what waits; then what went wrong in a check, which may be long."""
    whys: dict[str, dict[str, list[str]]] = {}
    for each in due:
        whys.setdefault(each.why, {}).setdefault(each.name, []).extend([each.slot] if each.slot else [])
    told = [f"{', '.join(_in_slots(*named) for named in names.items())}: {why}" for why, names in whys.items()]
    return "; ".join([*sorted(told, key=len)[:-1], *filter(None, [waits]), max(told, key=len)])


def _in_slots(name: str, slots: Sequence[str]) -> str:
    return f"{name} (slot {', '.join(slots)})" if slots else name


def _waits(floor: Floor) -> str:
    """What was read, and is not forgotten."""
    units = [scan.match.unit for scan in floor.waiting]
    return f"{len(units)} waiting: {', '.join(units)}" if units else ""


def _stopped(reading: Reading, bug: str) -> tuple[str, str]:
    memory = reading.work.memory
    if bug:
        return bug, "call whoever looks after the station, and start the line again"
    if memory.trouble is not None:
        return memory.trouble.message, f"{memory.trouble.advice}; {_CLEAR}"
    said = reading.floor.said.message if reading.floor.is_refusing else ""
    return "; ".join(filter(None, (said, memory.state.stopped, _waits(reading.floor)))), _CLEAR


def _ended(reading: Reading) -> str:
    """With what waited, and why no unit was tested any more."""
    left, due = len(reading.floor.waiting), reading.floor.due()
    said = ["the shift has ended", f"{left} scanned and not tested" if left else "", reading.stopped]
    if due and not reading.is_stopped and (left or reading.is_locked):
        said.append(f"locked: {due[0].name}: {due[0].why}")
    return "; ".join(filter(None, said))


def _next(floor: Floor) -> str:
    """What somebody with a unit in the hand does now."""
    waits = next((scan for scan in floor.waiting if scan.again), None)
    if waits is not None and (slot := floor.place_for(waits)) is not None:
        return f"put {waits.match.unit} into slot {slot.name}, then scan its label"
    if (out := next((slot for slot in floor.slots.values() if slot.release), None)) is not None:
        return f"slot {out.name}: {telling.TAKE_OUT}"
    if waits is not None:
        return f"{waits.match.unit} is next: scan its label again once a slot is free"
    free = floor.next_free()
    return f"put the next unit into slot {free.name}, then scan its label" if free else "all slots are taken"


def _hidden(reading: Reading, test: Test) -> bool:
    """Whether its word is not to be seen yet: nobody knows which unit is taken out of that slot."""
    return any(slot.release and slot.key == test.began.key for slot in reading.floor.slots.values())


def _last(test: Test, is_hidden: bool) -> LastUnit:
    began, ended = test.began, test.ended
    serial = began.serial or began.unit
    if is_hidden:
        return LastUnit(ended.at, serial, began.slot, "", telling.SCAN_FIRST, began.purpose)
    return LastUnit(ended.at, serial, began.slot, ended.word, ended.message, began.purpose)


def _last_takt(state: ShiftState) -> float | None:
    return next((test.ended.takt for test in state.last if test.ended.takt is not None), None)
