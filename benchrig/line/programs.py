"""The program that a station runs after each unit: told of the verdict that is shown, and never able to change it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from benchrig.errors import StationError
from benchrig.line.events import ToldStation, counts_for_unit
from benchrig.line.slot import Slot
from benchrig.line.told_programs import tell
from benchrig.line.work import Work
from benchrig.tasks import Tasks


@dataclass
class Programs:
    """Those that run now, in `tasks`. `check_stop` looks whether the line has to stop for what failed in a row."""

    work: Work
    tasks: Tasks
    check_stop: Callable[[], None]
    wake: Callable[[], None]
    _running: int = 0

    @property
    def are_busy(self) -> bool:
        return self._running > 0

    def tell(self, slot: Slot) -> None:
        """Of the unit whose word is shown. Units that check the station, and clean-ups, are nobody's verdict."""
        told, ending, match = self.work.station.after_unit, slot.ending, slot.match
        if told is None or ending is None or match is None or not counts_for_unit(slot.allowed.purpose):
            return
        values = {
            "verdict": ending.word, "serial": match.serial or match.unit, "slot": slot.name, "record": ending.folder,
            "product": match.product, "cause": ending.cause or "", "step": ending.step,
        }  # fmt: skip
        self._running += 1
        self.tasks.leave(self._told(slot.key, values))

    async def _told(self, key: str, values: dict[str, str]) -> None:
        memory, command = self.work.memory, self.work.station.after_unit
        assert command is not None
        try:
            trouble = (await tell(command, values, Path.cwd())).trouble
            self.work.notes["after_unit"] = trouble and f"after {values['serial']}: {trouble}"
            memory.note(ToldStation(at=memory.now(), key=key, ok=not trouble, message=trouble))
            self.check_stop()
        except StationError:
            pass  # the view says so: it could not be written
        finally:
            self._running -= 1
            self.wake()
