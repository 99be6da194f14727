"""The events of a run while it lasts: kept, written to the journal, shown."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from benchrig.errors import StationError
from benchrig.record.events import AnyEvent, Closed, Opened, Reading
from benchrig.record.journal import Journal
from benchrig.record.rounds import RoundLog
from benchrig.record.secrets import Secrets


@dataclass
class Events:
    """Keeps each event of a run, writes it to the journal and shows it. A journal that can no longer be written does
    not end the run, whose clean-up is due all the same: `blame` is told once, and the lines wait for room.

    What a step measured, that it began and that it passed is on disk before the run waits for anything: the lines of a
    short step go there together. All else is there at once, as is the state of a stream, and all that comes from the
    steps in `foreign`, which run code that may keep the loop busy or end the process."""

    # None for a run that leaves nothing on disk
    journal: Journal | None
    viewers: list[Callable[[AnyEvent], None]]
    blame: Callable[[StationError], None]
    secrets: Secrets | None = None
    foreign: frozenset[str] = frozenset()
    kept: list[AnyEvent] = field(default_factory=list)
    trouble: StationError | None = None
    _waiting: list[AnyEvent] = field(default_factory=list)
    _rounds: RoundLog = field(default_factory=RoundLog)
    _is_due: bool = False
    # a function of the plan gives its readings from a thread, while the loop writes what waits
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def __call__(self, event: AnyEvent) -> None:
        if self.secrets is not None:
            event = self.secrets.masked(event)
        with self._lock:
            self._keep(event)
        for viewer in [*self.viewers]:
            try:
                viewer(event)
            except OSError:
                self.viewers.remove(viewer)  # a terminal that is gone shows nothing any more

    def _keep(self, event: AnyEvent) -> None:
        self.kept.append(event)
        self._waiting.append(event)
        if self._may_wait(event):
            self._write_soon()
        else:
            self.write()
        if self._rounds.is_due(event, len(self.kept)):
            self._thin()

    def _thin(self) -> None:
        """Rounds that need not stay leave memory, and disk when there is room to write the others anew."""
        left = self._rounds.thinned(self.kept)
        if len(left) < len(self.kept):
            self.kept = left
            if self.journal is not None:
                self._rewrite(self.journal)

    def _rewrite(self, journal: Journal) -> None:
        with contextlib.suppress(StationError):
            journal.rewrite(self.kept)
            self._waiting = []

    def _may_wait(self, event: AnyEvent) -> bool:
        match event:
            case Opened() | Reading(partial=False) | Closed(verdict="pass"):
                return event.where.node not in self.foreign
        return False

    def _write_soon(self) -> None:
        if not self._is_due:
            self._is_due = True
            asyncio.get_running_loop().call_soon(self._now)

    def _now(self) -> None:
        self._is_due = False
        with self._lock:
            self.write()

    def write(self) -> None:
        """Whatever waits, as far as there is room for it."""
        waiting, self._waiting = self._waiting, []
        if self.journal is None or not waiting:
            return
        try:
            self.journal.write(*waiting)
        except StationError as error:
            self._waiting = waiting + self._waiting
            self._write_singly(self.journal)
            if self.trouble is None:
                self.trouble = error
                self.blame(error)

    def _write_singly(self, journal: Journal) -> None:
        with contextlib.suppress(StationError):
            while self._waiting:
                journal.write(self._waiting[0])
                del self._waiting[0]

    def missing(self) -> StationError | None:
        """What to say when the journal is not where it was made."""
        return self.journal.missing() if self.journal is not None else None
