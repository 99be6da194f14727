"""What a power cut has left: units whose tests died with the line, and the clean-up that did not run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchrig.errors import BenchrigError
from benchrig.line.barcode import Match, read
from benchrig.line.events import CleanedUp, CutOff
from benchrig.line.floor import Cleaning, Floor, Scan
from benchrig.line.loading import plan_of
from benchrig.line.questions import NO, YES
from benchrig.line.rules import Allowed
from benchrig.line.shift import OpenTest
from benchrig.line.work import Work, apart
from benchrig.plan.tree import StepPlan
from benchrig.record.secrets import MASK
from benchrig.run.choose import clean_up_alone
from benchrig.text.escape import plain


def note_cut_off(work: Work) -> None:
    """At the start: what was tested when the line died is not tested. A clean-up that died is offered with its unit again."""
    memory = work.memory
    for key, test in [*memory.state.open.items()]:
        memory.note(CutOff(at=memory.now(), key=key, message="the line died while this unit was tested"))
        if test.began.purpose == "clean-up":
            memory.note(
                CleanedUp(at=memory.now(), key=key, person="", ok=False, message="the clean-up was cut off as well")
            )


@dataclass
class Recovery:
    """Offers the clean-up of one unit after the other, before anything else is tested."""

    work: Work
    floor: Floor

    @property
    def left(self) -> list[OpenTest]:
        return [*self.work.memory.state.uncleaned.values()]

    async def offered(self) -> None:
        """Ask for each, and do what was answered. Where nobody answers they stay, and are offered at the next start."""
        for test in self.left:
            try:
                await self._one(test)
            except BenchrigError as error:
                self.work.notes[f"clean-up {test.began.key}"] = f"{_title(test)} was not cleaned up: {error.message}"

    async def _one(self, test: OpenTest) -> None:
        began = test.began
        answer = await self.work.questions.ask(_offer(test), self.work.options.answer_within, options=(YES, NO))
        match = read(self.work.station, began.barcode)
        if answer == NO or not isinstance(match, Match):
            self._leave(began.key, "left as it was" if answer == NO else _unread(began.barcode))
            return
        plan, _ = await apart(lambda: plan_of(self.work.station, self.work.file, match, None))
        nodes, by_hand = clean_up_alone(plan)
        if by_hand:
            self._tell(test, by_hand)
        if not any(node.section == "finally" for node in nodes):
            self._leave(began.key, "nothing to clean up" if not by_hand else "to be put back by hand")
            return
        slot = self.floor.slots.get(began.slot) or self.floor.next_free()
        assert slot is not None
        ids = {node.id for node in nodes}
        cleaning = Cleaning(began.key, lambda plan: [node for node in plan.nodes if node.id in ids])
        await self.floor.begin(slot, Scan(match), Allowed("clean-up"), cleaning)

    def _tell(self, test: OpenTest, by_hand: Sequence[StepPlan]) -> None:
        """What the cut run had read before it wrote is gone with it."""
        said = ", ".join(plain(f"{step.id} {step.name}", 80) for step in by_hand)
        self.work.notes[f"by hand {test.began.key}"] = (
            f"{_title(test)}: put back by hand what was saved before step {said}"
        )

    def _leave(self, key: str, why: str) -> None:
        memory = self.work.memory
        memory.note(CleanedUp(at=memory.now(), key=key, person=memory.state.person, ok=False, message=why))


def _offer(test: OpenTest) -> str:
    slot = test.began.slot
    return (
        f"{_title(test)} was cut off in slot {slot}, and counts as not tested. Clean it up? "
        f"{YES}: it is in slot {slot}; {NO}: leave it as it is"
    )


def _unread(barcode: str) -> str:
    return "a part of its label is secret, and was not kept" if MASK in barcode else "its label fits no product now"


def _title(test: OpenTest) -> str:
    return plain(test.began.serial or test.began.unit, 80)
