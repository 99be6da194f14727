"""What a line knows, and keeps: an event is on the disk before anybody acts by it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from benchrig.errors import StationError
from benchrig.line.events import AnyLineEvent, ClockBack
from benchrig.line.journal import LineJournal
from benchrig.line.rules import clock_was_set_back
from benchrig.line.shift import ShiftState


class Memory:
    """The journal and what its events add up to. `events` are all of them, `now` tells the time on the wall."""

    def __init__(
        self, journal: LineJournal, events: list[AnyLineEvent], state: ShiftState, now: Callable[[], datetime]
    ) -> None:
        self._journal = journal
        self.events, self.state, self.now = events, state, now
        self.listeners: Sequence[Callable[[AnyLineEvent], None]] = ()
        self.trouble: StationError | None = None  # why an event was not written, until somebody has cleared the line

    def note(self, event: AnyLineEvent) -> None:
        """StationError when it cannot be written: then it did not happen."""
        if clock_was_set_back(self.state, event.at) and self.state.latest is not None:
            self._add(ClockBack(at=event.at, before=self.state.latest))
        self._add(event)

    def _add(self, event: AnyLineEvent) -> None:
        try:
            self._journal.write(event)
        except StationError as error:
            self.trouble = error
            raise
        self.state.add(event)
        self.events.append(event)
        for listener in self.listeners:
            listener(event)
