"""A slot of the fixture: what is in it, how far it is, what came of it."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.line.barcode import Match
from benchrig.line.proof import ProofKind
from benchrig.line.rules import Allowed
from benchrig.line.telling import TAKE_OUT
from benchrig.line.view import SlotState, SlotView, Word

if TYPE_CHECKING:
    from benchrig.launch import PreparedRun
    from benchrig.line.judging import Ending

SCAN_ALL = "scan the labels of all units in the fixture, then scan this one again"
_AT_WORK = ("proving", "waiting", "running")


@dataclass
class Shown:
    """What came of a unit, for the screen."""

    word: Word = ""
    says: str = ""
    do: str = ""


@dataclass
class Slot:
    """`match` is the unit that was scanned for it; `began` and `ended` are times of the loop. With `release` the unit is
    judged, and nobody can know that it is the one in this slot until its label is scanned again."""

    name: str
    kind: ProofKind
    state: SlotState = "empty"
    match: Match | None = None
    allowed: Allowed = field(default_factory=Allowed)
    key: str = ""
    shown: Shown = field(default_factory=Shown)
    release: bool = False
    doubled: bool = False  # its label was scanned for another slot too, before it was taken out
    held: str = ""  # why its word is not shown, though its label was scanned
    step: str = ""
    done: int = 0
    of: int = 0
    began: float = 0.0
    ended: float = 0.0
    cleans: str = ""  # the key of the test that was cut off
    ending: Ending | None = None
    run: PreparedRun | None = None
    task: asyncio.Task[object] | None = None

    @property
    def is_at_work(self) -> bool:
        return self.state in _AT_WORK

    @property
    def is_free(self) -> bool:
        """Whether a unit may be put into it: a judged one that needs no scan has been taken out, or is now."""
        return not self.is_at_work and not self.release

    def holds(self, match: Match) -> bool:
        """Whether the unit of this label is in it."""
        there = self.match
        return (
            there is not None and self.state != "empty" and (there.product, there.unit) == (match.product, match.unit)
        )

    def take(self, match: Match, allowed: Allowed, key: str) -> None:
        """A unit begins."""
        self.match, self.allowed, self.key = match, allowed, key
        self.state, self.shown, self.release, self.doubled = "proving", Shown(), False, False
        self.step, self.done, self.of, self.ending, self.held = "", 0, 0, None, ""
        self.began = self.ended = asyncio.get_running_loop().time()

    def end(self, shown: Shown) -> None:
        """The word is there. Nobody has to scan a unit that says nothing of itself."""
        self.shown, self.state, self.run = shown, "ended", None
        self.release = self.kind == "scan"
        self.ended = asyncio.get_running_loop().time()

    def clear(self) -> None:
        """Nothing is in it."""
        self.state, self.match, self.key, self.shown, self.release = "empty", None, "", Shown(), False
        self.ending, self.cleans, self.held = None, "", ""

    def view(self) -> SlotView:
        shown = Shown(says=self.held, do=SCAN_ALL if self.held else TAKE_OUT) if self.release else self.shown
        until = asyncio.get_running_loop().time() if self.is_at_work else self.ended
        return SlotView(
            name=self.name,
            state=self.state,
            word=shown.word,
            serial=self.match.serial or self.match.unit if self.match else "",
            product=self.match.product if self.match else "",
            purpose=self.allowed.purpose,
            says=shown.says,
            do=shown.do,
            step=self.step,
            done=self.done,
            of=self.of,
            seconds=until - self.began,
            release=self.release,
        )
