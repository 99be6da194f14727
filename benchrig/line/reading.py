"""What a line that was scanned or typed does."""

from __future__ import annotations

from collections.abc import Coroutine
from dataclasses import dataclass
from typing import Any

from benchrig.errors import OperatorError, StationError
from benchrig.line.barcode import AtSlot, Badge, Match, Read, Refusal, SaidWord, read
from benchrig.line.events import (
    LineCleared,
    PersonCame,
    Scanned,
    ShiftBegan,
    UnitEnded,
)
from benchrig.line.floor import Floor, Said, Scan
from benchrig.line.questions import NO, YES, Question
from benchrig.line.recovery import Recovery
from benchrig.line.rules import Asked, continues
from benchrig.line.station_file import StationFile
from benchrig.line.work import Work
from benchrig.tasks import Tasks
from benchrig.text.escape import plain
from benchrig.version import __version__

_LONGEST_NAME = 80
WORDS = (
    "RETEST or REPAIRED, then the label of a unit; CLEAR, when the line is stopped; END, at the end of the shift; HELP"
)
ALSO = "also: the label of a unit; that of a slot, before the unit's; a badge"
READ_FIRST = "read the question first, then answer"
_UNWRITTEN = "the end of this test could not be written"


@dataclass
class Reading:
    """`file` is the station file while the shift lasts; `tasks` ask what has to be asked before a unit begins."""

    work: Work
    floor: Floor
    file: StationFile
    recovery: Recovery
    tasks: Tasks
    # somebody is on shift
    is_manned: bool = False
    ended: bool = False
    is_asking: bool = False
    _asked: Asked = ""
    _slot: str = ""
    _look_at_file: bool = False
    _has_recovered: bool = False

    # --- what the line may do now

    @property
    def stopped(self) -> str:
        """Why, until somebody has cleared it."""
        memory = self.work.memory
        return memory.trouble.message if memory.trouble is not None else memory.state.stopped

    @property
    def is_stopped(self) -> bool:
        return bool(self.stopped)

    @property
    def is_locked(self) -> bool:
        """Whether the last check of the station by one of its units went wrong."""
        return any(not each.ok for each in self.work.memory.state.checked.values())

    def is_open(self) -> bool:
        """Whether a unit may begin, or one that checks the station."""
        return self.is_manned and not (self.ended or self.is_stopped or self.is_asking)

    @property
    def will_ask(self) -> bool:
        """Whether the next line is the answer of a question that is about to open, or comes behind an answer that something
        is done about: a label then need not wait for a second scan."""
        asked = self.work.questions.open
        return self.is_asking and (asked is None or asked.answer.done())

    def may_go_on(self) -> bool:
        """Whether what waits has a chance without another scan."""
        return self.is_asking or self.floor.is_busy

    def go_on(self, *, ends: bool) -> None:
        """After anything has happened: what may begin begins. With `ends` nobody is there to answer."""
        if ends:
            self.work.questions.nobody()
        if self.ended:
            return
        if self.is_manned and not self._has_recovered:
            self._has_recovered = True
            if self.recovery.left:
                self._ask(self.recovery.offered())
        elif self._look_at_file and not self.is_asking and self.is_manned:
            self._look_at_file = False
            if self.file.is_new():
                self._ask(self._file_asked())
        self.floor.place()

    def _ask(self, work: Coroutine[Any, Any, None]) -> None:
        """Meanwhile no unit begins."""
        self.is_asking = True
        self.tasks.leave(self._asking(work))

    async def _file_asked(self) -> None:
        """What waits was read by the file as it was."""
        if await self.file.asked():
            self.floor.read_again()

    async def _asking(self, work: Coroutine[Any, Any, None]) -> None:
        try:
            await work
        except StationError:
            if self.work.memory.trouble is None:  # else the view says that it could not be written
                raise
        finally:
            self.is_asking = False
            self.floor.wake()

    # --- a line

    def read(self, typed: str, seen: int | None = None) -> None:
        """`seen` is the number of the question that somebody had time to read before this was typed, 0 for none; None where
        there is no screen. StationError when it cannot be kept."""
        said = self.work.hidden.covered(read(self.work.station, typed))
        self.work.questions.say("")
        if asked := self.work.questions.open:
            if self._of_question(said, typed, asked) and seen not in (None, asked.number):
                self.work.questions.say(READ_FIRST)
                return
            if self._is_look(said, asked) and isinstance(said, Match):
                self._looked_at(said, asked)
                return
            if self._answers(said, typed):
                self.work.questions.answer(typed)
                return
        if not self.is_manned and self._names_somebody(said, typed):
            return
        match said:
            case Refusal() if typed.strip().casefold() in (YES, NO):
                self.floor.refuse(said.text, "nothing was asked", "answer when a question is on the screen")
            case Refusal():
                self.floor.refuse(said.text, said.why, said.do)
            case Badge():
                self.person(said.person)
            case SaidWord():
                self._word(said)
            case AtSlot():
                self._at(said.slot)
            case Match():
                self._label(said)

    def _of_question(self, said: Read, typed: str, asked: Question) -> bool:
        """Whether it would do something to the open question."""
        return self._answers(said, typed) or self._is_look(said, asked)

    def _is_look(self, said: Read, asked: Question) -> bool:
        """In slots that share a radio the label of a unit that is tested says that somebody looks at that one; it is no
        scan for a slot. Where any text answers, that of the unit itself may be the answer, too."""
        if not asked.labelled or not isinstance(said, Match):
            return False
        if self.floor.slots[asked.slot].holds(said):
            return asked.scan or bool(asked.options)
        return any(slot.is_at_work and slot.holds(said) for slot in self.floor.slots.values())

    def _looked_at(self, match: Match, asked: Question) -> None:
        """An answer counts after the label of the unit that is asked about, and before another one's."""
        slot = next(slot for slot in self.floor.slots.values() if slot.holds(match))
        if slot.name == asked.slot:
            self._scanned(match.text, "answer")
            self.work.questions.looks_at(right=True)
            return
        self.work.questions.looks_at(right=False)
        later = ", which is asked later" if self.work.questions.is_asked_in(slot.name) else ""
        why = f"this is the label of {match.serial or match.unit}{later}: the question is about {asked.unit}"
        self.floor.refuse(match.text, why, slot=asked.slot)
        self.floor.said = Said()
        self.work.questions.say(why)

    def _answers(self, said: Read, typed: str) -> bool:
        """A label that was scanned is that of a unit or a slot, also while a question waits; but for that of the unit which is
        asked about. A number that is typed may be that of a slot, or the answer to a question without options."""
        asked = self.work.questions.open
        if asked is None:
            return False
        if self.work.questions.takes(typed):
            return True
        if isinstance(said, Match):
            slot = self.floor.slots.get(asked.slot)
            return not asked.options and slot is not None and slot.holds(said)
        if isinstance(said, AtSlot):
            return not asked.options and typed.strip() == said.slot
        return not isinstance(said, SaidWord)

    def _names_somebody(self, said: Read, typed: str) -> bool:
        """Where the station does not say what a badge looks like, the first text that is nothing else names the person."""
        if self.work.station.people is not None or not isinstance(said, Refusal):
            return False
        name = typed.strip()
        if not name or len(name) > _LONGEST_NAME or not name.isprintable():
            return False
        self.person(name)
        return True

    def person(self, name: str) -> None:
        """Somebody is on shift."""
        memory, name = self.work.memory, plain(name, _LONGEST_NAME)
        state, now = memory.state, memory.now()
        if self.is_manned:
            if name != state.person:
                memory.note(PersonCame(at=now, person=name))
        elif continues(state, name, now, simulated=self.work.simulated, station_hash=self.file.taken):
            memory.note(PersonCame(at=now, person=name))
        else:
            memory.note(
                ShiftBegan(
                    at=now,
                    shift=now.strftime("%Y%m%dT%H%M%SZ"),
                    person=name,
                    station=self.work.station.station,
                    station_hash=self.file.taken,
                    simulated=self.work.simulated,
                    version=__version__,
                )
            )
        self.is_manned = True
        self.floor.check_stop()  # the line may have died before it could stop
        self.floor.said = Said(f"on shift: {name}")

    def _word(self, said: SaidWord) -> None:
        """A shift can be ended, and a label is kept, also where nothing can be written."""
        self.ended = self.ended or said.word == "END"
        self._asked = said.word if said.word in ("RETEST", "REPAIRED") else self._asked
        self._scanned(said.word, "word")
        match said.word:
            case "RETEST" | "REPAIRED":
                self.floor.said = Said(f"{said.word}: scan the label of the unit")
            case "CLEAR":
                self._clear()
            case "HELP":
                self.floor.said = Said(f"words: {WORDS}", ALSO, first=True)

    def _at(self, slot: str) -> None:
        self._slot = slot
        self._scanned(slot, "slot")
        self.floor.said = Said(f"slot {slot}: scan the label of the unit")

    def _label(self, match: Match) -> None:
        self.floor.said = Said()
        self.floor.add(Scan(match, self._asked, self._slot))
        self._asked, self._slot, self._look_at_file = "", "", True
        self._scanned(match.text, "reference" if match.reference else "unit")

    def _scanned(self, text: str, kind: str) -> None:
        self.work.memory.note(Scanned(at=self.work.memory.now(), text=text, kind=kind))

    # --- clearing

    def _clear(self) -> None:
        if not self.is_stopped:
            missing = self.floor.due()
            why = "the station is locked, not stopped" if missing else "the line is not stopped"
            self.floor.said = Said(why, missing[0].do if missing else "", refused=True)
        elif self.work.station.people is None:
            self._cleared(self.work.memory.state.person)
        else:
            self._ask(self._badge())

    async def _badge(self) -> None:
        try:
            typed = await self.work.questions.ask(
                "who clears the line? Scan a badge", self.work.options.answer_within, problem_with=self._no_badge
            )
        except OperatorError as error:
            self.floor.said = Said(error.message)
            return
        badge = read(self.work.station, typed)
        assert isinstance(badge, Badge)
        self._cleared(badge.person)

    def _no_badge(self, text: str) -> str:
        return (
            "" if isinstance(read(self.work.station, text), Badge) else f"expected a badge, found '{plain(text, 80)}'"
        )

    def _cleared(self, person: str) -> None:
        """What could not be written of a test has not happened: that is made up for first."""
        memory = self.work.memory
        at_work = {slot.key for slot in self.floor.slots.values() if slot.is_at_work}
        for key in [key for key in memory.state.open if key not in at_work]:
            memory.note(UnitEnded(at=memory.now(), key=key, word="STOP", cause="station", message=_UNWRITTEN))
        memory.note(LineCleared(at=memory.now(), person=person, why=self.stopped))
        memory.trouble = None
        self.floor.said = Said(f"cleared by {person}")
