"""The slots of a line and the units that wait for them: what may begin begins, in the order in which it was scanned."""

from __future__ import annotations

import asyncio
import re
import time
import uuid
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field, replace
from typing import Any

from benchrig.errors import BenchrigError, StationError
from benchrig.line.approving import Wanted
from benchrig.line.barcode import Match, read
from benchrig.line.events import LineStopped, Refused
from benchrig.line.judging import Ending
from benchrig.line.loading import plan_of
from benchrig.line.passage import Passage
from benchrig.line.programs import Programs
from benchrig.line.proof import Place
from benchrig.line.releasing import give, hold, strangers, withhold
from benchrig.line.rules import Allowed, Asked, Due, due, may_be_tested, stop_now
from benchrig.line.settling import settle
from benchrig.line.slot import SCAN_ALL, Shown, Slot
from benchrig.line.wired import check_wires
from benchrig.line.work import Work, apart
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.tasks import Tasks

# A refusal is what is to be seen, for so many seconds also when a word comes.
_SEEN_WITHIN = 3.0
_HASH = re.compile(r"([0-9a-f]{8})[0-9a-f]{56}")
_TWO_LABELS = "put this unit aside if it is another one: two units have the same label then"


@dataclass(frozen=True)
class Scan:
    """A label that was read, with the word and the slot that were scanned before it. `again`: its unit could not begin then, and
    nobody knows when somebody puts it in; it begins once the label is scanned again."""

    match: Match
    asked: Asked = ""
    slot: str = ""
    again: bool = False


@dataclass(frozen=True)
class Said:
    """The last thing that was said of a label; one that was `refused` is told before all else."""

    message: str = ""
    do: str = ""
    refused: bool = False
    first: bool = False  # it was asked for, and is told before all else
    at: float = field(default_factory=time.monotonic)


@dataclass(frozen=True)
class Cleaning:
    """The clean-up of a unit that was cut off: the key of that test, and the steps of its plan that are to be done."""

    key: str
    nodes: Callable[[Plan], list[StepPlan]]


@dataclass
class Floor:
    """`tasks` does what goes on meanwhile. `is_open` says whether units may begin now, beside the checks of the station,
    `is_barred` whether not even those that have their slot; `broke` takes what must never happen."""

    work: Work
    tasks: Tasks
    is_open: Callable[[], bool]
    is_barred: Callable[[], bool]
    broke: Callable[[BaseException], None]
    wake: Callable[[], None]
    slots: dict[str, Slot] = field(init=False)
    waiting: list[Scan] = field(default_factory=list)
    said: Said = field(default_factory=Said)
    last_word: float = 0.0  # as Said.at
    _passages: dict[str, Passage] = field(default_factory=dict)
    programs: Programs = field(init=False)

    def __post_init__(self) -> None:
        station = self.work.station
        self.slots = {name: Slot(name, Place.of(station, name).kind) for name in station.slot_names}
        self.programs = Programs(self.work, self.tasks, self.check_stop, self.wake)

    @property
    def is_busy(self) -> bool:
        """Whether a unit is tested, or a program told of one."""
        return any(slot.is_at_work for slot in self.slots.values()) or self.programs.are_busy

    def interrupt(self) -> None:
        for passage in [*self._passages.values()]:
            passage.interrupt()

    def stray(self, error: str) -> None:
        for slot in self.slots.values():
            if slot.run is not None:
                slot.run.stray(error)

    # --- which unit is next

    def add(self, scan: Scan) -> None:
        """A label that was read. Where units are put in by hand, one that waits is not queued twice."""
        waits = next((each for each in self.waiting if _same(each.match, scan.match)), None)
        if waits is not None and self.work.options.by_hand:
            asked, slot = scan.asked or waits.asked, scan.slot or waits.slot
            self.waiting[self.waiting.index(waits)] = replace(scan, asked=asked, slot=slot)
        elif waits is not None and self._once(scan):
            self.refuse(scan.match.text, f"{scan.match.unit} waits already: one scan is enough", "wait for its turn")
        else:
            self.waiting.append(scan)

    def _once(self, scan: Scan) -> bool:
        """Whether a second scan cannot be meant for another slot, or a second test."""
        reference = self.work.station.references.get(scan.match.reference)
        return self.work.options.by_hand or (reference is not None and reference.slots == "any")

    def place(self) -> bool:
        """Do with what waits whatever can be done now; whether anything was. StationError when it cannot be written."""
        done = [scan for scan in [*self.waiting] if self._try(scan)]
        return bool(done)

    def _try(self, scan: Scan) -> bool:
        """Whether the scan has left the queue."""
        match, at = scan.match, self.waiting.index(scan)
        if any(_same(match, earlier.match) for earlier in self.waiting[:at]):
            return False
        there = self._holding(match)
        if there is not None and scan.slot not in ("", there.name) and (there.is_at_work or there.release):
            there.doubled = there.kind == "scan"
            self.waiting.remove(scan)
            self.refuse(match.text, f"the unit of this label is in slot {there.name}", _TWO_LABELS, scan.slot)
            return True
        if there is not None and there.is_at_work:
            return self._once(scan) and self._is_tested(scan, there)
        if there is not None and there.release:
            found = strangers(self.work, there)
            if found and self._is_proving:
                return False  # they may be units that were scanned just now
            if not self._taken_out(scan, there, found):
                return True
        allowed = self._allowed(scan)
        if allowed is None:
            return True
        if not scan.again and self.is_open() and self._admitted(scan, allowed):
            return True
        if self.work.options.by_hand and not self._has_place(scan):
            self.waiting[at] = replace(scan, again=True)
        return False

    def _is_tested(self, scan: Scan, slot: Slot) -> bool:
        self.waiting.remove(scan)
        why = f"{scan.match.unit} is being tested in slot {slot.name}"
        self.refuse(scan.match.text, why, "wait for its verdict", scan.slot)
        return True

    def _has_place(self, scan: Scan) -> bool:
        """Whether its unit may be in a slot already, and begins by itself: it was scanned while one was free."""
        may_begin = not self.is_barred() and (bool(scan.match.reference) or not self.due())
        return may_begin and self.place_for(scan) is not None

    @property
    def _is_proving(self) -> bool:
        return any(slot.state == "proving" for slot in self.slots.values())

    def _taken_out(self, scan: Scan, slot: Slot, found: tuple[str, ...]) -> bool:
        """Whether the label is also that of a unit to be tested again. With units `found` that nobody has scanned no verdict
        is given."""
        hold(slot, found)
        if found and not scan.asked:
            self.waiting.remove(scan)
            self.refuse(scan.match.text, slot.held, SCAN_ALL, slot.name)
            return False
        self.release(slot)
        if not scan.asked:
            self.waiting.remove(scan)
        return bool(scan.asked)

    def _allowed(self, scan: Scan) -> Allowed | None:
        """None for a unit that may not be tested, whatever the station waits for: it is refused at once."""
        work, match = self.work, scan.match
        allowed = may_be_tested(work.memory.state, work.station, match, work.memory.now(), scan.asked)
        if isinstance(allowed, Allowed):
            return allowed
        self.waiting.remove(scan)
        self.refuse(match.text, allowed.why, allowed.do)
        return None

    def _admitted(self, scan: Scan, allowed: Allowed) -> bool:
        if not scan.match.reference and self.due():
            return False
        slot = self.place_for(scan)
        if slot is None:
            return False
        self.waiting.remove(scan)
        if slot.release:
            self.release(slot)
        self.begin(slot, scan, allowed)
        return True

    def due(self) -> list[Due]:
        """The checks of the station that are missing."""
        work = self.work
        return due(work.memory.state, work.station, work.memory.now())

    def _holding(self, match: Match) -> Slot | None:
        return next((slot for slot in self.slots.values() if slot.holds(match)), None)

    def place_for(self, scan: Scan) -> Slot | None:
        """The slot that was scanned; of a reference one that lacks it; the one that the unit is in; else the first free one in
        the station's order, whether it shows a verdict or nothing."""
        if scan.slot:
            slot = self.slots[scan.slot]
            return slot if slot.is_free or slot.held else None
        free = [slot for slot in self.slots.values() if slot.is_free]
        lacking = self._lacking(scan.match.reference)

        def rank(slot: Slot) -> tuple[bool, bool]:
            return not (slot.name in lacking or "" in lacking), not slot.holds(scan.match)

        return min(free, key=rank, default=None)

    def next_free(self) -> Slot | None:
        """Where the next unit is to be put."""
        return self.place_for(Scan(Match("", ""), ""))

    def _lacking(self, reference: str) -> set[str]:
        missing = self.due() if reference else []
        return {each.slot for each in missing if each.name == reference}

    def read_again(self) -> None:
        """The labels that wait, by another station file."""
        for scan in [*self.waiting]:
            again = read(self.work.station, scan.match.typed)
            match, at = self.work.hidden.covered(again), self.waiting.index(scan)
            if isinstance(match, Match):
                self.waiting[at] = replace(scan, match=match)
            else:
                self.waiting.remove(scan)
                self.refuse(scan.match.text, "the label fits no product of the changed station file")

    @property
    def is_refusing(self) -> bool:
        """Whether the last thing that was read was not taken, and no word has come that has to be seen now."""
        is_over = self.last_word > self.said.at and time.monotonic() > self.said.at + _SEEN_WITHIN
        return self.said.refused and not is_over

    def refuse(self, text: str, why: str, do: str = "", slot: str = "") -> None:
        self.said = Said(_HASH.sub(r"\1…", why), do, refused=True)
        self.work.memory.note(Refused(at=self.work.memory.now(), text=text, why=why, slot=slot))
        self.work.changed()

    # --- a unit in its slot

    def begin(self, slot: Slot, scan: Scan, allowed: Allowed, cleaning: Cleaning | None = None) -> asyncio.Task[object]:
        """Put it there: from here on the slot is its. The task ends with its word."""
        match = scan.match
        before = [other for other in self.slots.values() if other is slot or other.holds(match)]
        held = [other.name for other in before if other.state != "empty"]
        for other in before:
            other.clear()
        self.work.tests += 1
        slot.take(match, allowed, uuid.uuid4().hex)
        slot.cleans = cleaning.key if cleaning is not None else ""
        self.said = Said(allowed.note)
        slot.task = self.tasks.leave(self._guarded(slot, self._passed(slot, scan, held, cleaning)))
        self.work.changed()
        return slot.task

    async def _guarded(self, slot: Slot, work: Coroutine[Any, Any, None]) -> None:
        """An error of benchrig stops the line; the unit is not judged."""
        try:
            await work
        except StationError as error:
            slot.end(Shown("STOP", error.message, error.advice))
        except Exception as error:
            slot.end(Shown("STOP", "benchrig has a bug, and the unit is not judged", "keep the record of this run"))
            self.broke(error)
        finally:
            self._passages.pop(slot.name, None)
            self.last_word = time.monotonic()
            self.said = Said() if self.said.message == slot.allowed.note else self.said
            self.wake()

    async def _passed(self, slot: Slot, scan: Scan, held: list[str], cleaning: Cleaning | None) -> None:
        for name in held:
            await self._vacated(name)
        loaded = await self._plan(slot, scan)
        if loaded is None:
            return
        plan, wanted = loaded
        nodes = cleaning.nodes(plan) if cleaning is not None else None
        passage = Passage(self.work, slot, plan, wanted, nodes, proved=self.wake)
        self._passages[slot.name] = passage
        passage.begin()
        try:
            ending = await passage.ending()
        except Exception as error:
            settle(passage, Ending.stopped(f"benchrig has a bug: {type(error).__name__}: {error}", "internal"))
            raise
        slot.ending = settle(passage, ending)
        self.check_stop()
        if not slot.release:
            self.programs.tell(slot)

    async def _plan(self, slot: Slot, scan: Scan) -> tuple[Plan, Wanted] | None:
        """None where the unit may not be tested with it; where the line was stopped meanwhile it waits again."""
        match = scan.match
        work, seed = self.work, self.work.options.seed + self.work.tests if self.work.simulated else None
        try:
            loaded = await apart(lambda: plan_of(work.station, work.file, match, seed))
            check_wires(loaded[0], slot.kind)
        except BenchrigError as error:
            slot.clear()
            self.refuse(match.text, error.message.partition("\n")[0], error.advice, slot.name)
            return None
        work.hidden.learn(match.product, loaded[0])
        if not self.is_barred():
            return loaded
        slot.clear()
        self.waiting.insert(0, scan)
        return None

    async def _vacated(self, name: str) -> None:
        """What was in the slot is out."""
        self.work.prover.release(name)
        if self.work.bench is not None:
            await self.work.bench.take(name)

    def release(self, slot: Slot) -> None:
        """The unit in it is taken out: now the verdict is its, and is shown. One that was held back is given to nobody."""
        if slot.held and not slot.doubled:
            withhold(self.work, slot, slot.held)
        give(self.work, slot)
        self.tasks.leave(self._vacated(slot.name))
        self.said = Said()
        self.programs.tell(slot)
        self.work.changed()

    def give_up(self) -> None:
        """At the end of the shift: nobody scans any more what has to be scanned before a word is shown."""
        for slot in self.slots.values():
            if slot.held:
                self.release(slot)

    def check_stop(self) -> None:
        memory = self.work.memory
        why = stop_now(memory.state, self.work.station.stop)
        if why and not memory.state.stopped:
            memory.note(LineStopped(at=memory.now(), why=why))
            self.work.changed()


def _same(one: Match, other: Match) -> bool:
    return (one.product, one.unit) == (other.product, other.unit)
