"""What a line knows, and keeps: an event is on the disk before anybody acts by it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from benchrig.errors import StationError
from benchrig.line.events import AnyLineEvent, ClockBack, UnitEnded
from benchrig.line.heard import Known
from benchrig.line.journal import LineJournal
from benchrig.line.known_units import Before, before_of, line_units
from benchrig.line.rules import clock_was_set_back
from benchrig.line.shift import folded


class Memory:
    """The journal and what its events add up to, from `events` on, those of the shifts before. `units` are those that were
    judged here, `now` tells the time on the wall."""

    def __init__(self, journal: LineJournal, events: Sequence[AnyLineEvent], now: Callable[[], datetime]) -> None:
        self._journal = journal
        self.state, self.units = folded(events), line_units(events)
        self.now = now
        self.set_back = False  # whether the clock was, since the line was started
        self.listeners: Sequence[Callable[[AnyLineEvent], None]] = ()
        self.trouble: StationError | None = None  # why an event was not written, until somebody has cleared the line

    def note(self, event: AnyLineEvent) -> None:
        """StationError when it cannot be written: then it did not happen."""
        if clock_was_set_back(self.state, event.at) and self.state.latest is not None:
            self._add(ClockBack(at=event.at, before=self.state.latest))
            self.set_back = True
        self._add(event)

    def _add(self, event: AnyLineEvent) -> None:
        try:
            self._journal.write(event)
        except StationError as error:
            self.trouble = error
            raise
        self.units += self._identified(event)
        self.state.add(event)
        for listener in self.listeners:
            listener(event)

    @property
    def known(self) -> Known:
        """Who was judged here."""
        return Known({each.address for each in self.units if each.address}, {each.serial for each in self.units})

    def _identified(self, event: AnyLineEvent) -> list[Before]:
        """Of a test that ends: who its unit was."""
        test = self.state.open.get(event.key) if isinstance(event, UnitEnded) else None
        return before_of(test.began, event) if test is not None and isinstance(event, UnitEnded) else []
