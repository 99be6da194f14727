"""The station file while a shift lasts: a change is asked for, and taken where it can be."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from benchrig.errors import BenchrigError, OperatorError
from benchrig.line.events import FileChanged
from benchrig.line.questions import NO, YES
from benchrig.line.work import Work
from benchrig.station.station import Station, load_station

# What the radios and units that are open depend on.
_OPEN = ("station", "radio", "radios", "links", "slots", "rehearsal", "results", "rssi_offset")


def hash_of(file: Path) -> str:
    """'' for a file that cannot be read."""
    try:
        return hashlib.sha256(file.read_bytes()).hexdigest()
    except OSError:
        return ""


@dataclass
class StationFile:
    """`taken` is the hash of what is in use, `answered` that of what somebody has decided on."""

    work: Work
    taken: str
    answered: str = ""

    def is_new(self) -> bool:
        """Whether the file is another one than that in use, and nobody was asked."""
        found = hash_of(self.work.file)
        if found == self.taken:
            self.work.notes.pop("station file", None)
            self.answered = found
        return found not in (self.taken, self.answered)

    async def asked(self) -> bool:
        """Ask whether it is to be used; whether it is. One with mistakes, or with other radios or slots, is not: that is
        said."""
        found = hash_of(self.work.file)
        self.answered = found
        station, why = self._loaded()
        if station is None:
            return self._not_taken(found, why)
        text = f"the station file {self.work.file.name} was changed: use it from now on?"
        try:
            answer = await self.work.questions.ask(text, self.work.options.answer_within, options=(YES, NO))
        except OperatorError as error:
            self.answered = ""
            return self._not_taken(found, error.message)
        if answer == NO:
            return self._not_taken(found, "the station file was changed, and is not used")
        return self._take(found, station)

    def _loaded(self) -> tuple[Station | None, str]:
        try:
            station = load_station(self.work.file)
        except BenchrigError as error:
            return None, f"the station file was changed, and is not used: {error.message.splitlines()[0]}"
        if any(getattr(station, key) != getattr(self.work.station, key) for key in _OPEN):
            return None, "the station file has other radios or slots now: end the shift, and begin a new one to use it"
        return station, ""

    def _take(self, found: str, station: Station) -> bool:
        memory = self.work.memory
        memory.note(FileChanged(at=memory.now(), old=self.taken, new=found, taken=True, by=memory.state.person))
        self.work.use(station)
        self.taken = found
        self.work.notes.pop("station file", None)
        return True

    def _not_taken(self, found: str, why: str) -> bool:
        memory = self.work.memory
        memory.note(FileChanged(at=memory.now(), old=self.taken, new=found, by=memory.state.person))
        self.work.notes["station file"] = why
        self.work.changed()
        return False
