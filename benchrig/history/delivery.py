"""A run that is over into its history, and those before it that still wait: now, or by the next run."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from pathlib import Path
from platform import node
from typing import TYPE_CHECKING

from benchrig.errors import BenchrigError
from benchrig.history.moments import moment_of, moment_text
from benchrig.history.place import Place
from benchrig.history.waiting import forget, wait_for_history, waiting, waits_for
from benchrig.record.journal import RECORD
from benchrig.report.index import is_running

if TYPE_CHECKING:
    from benchrig.history.filling import Filled
    from benchrig.history.opening import History

# Seconds for a server or another writer that does not answer, and for all runs that wait together.
_PATIENCE = 2.0
_AT_MOST = 5.0
# Runs that are delivered at a time.
_FEW = 20
_MINUTE = 60_000_000  # microseconds


@dataclass
class Delivery:
    """What brings the run in this folder into the history. Nothing of it changes what the run comes to: `trouble` says in one
    line what could not be done now."""

    place: Place
    folder: Path
    trouble: str = ""

    def begin(self) -> None:
        """From here on the run waits for the history, whatever becomes of this process."""
        try:
            wait_for_history(self.folder, self.place)
        except OSError as error:
            self.trouble = f"this run is not noted for the history: {error.strerror or error}"

    def deliver(self) -> str:
        """After the verdict. What is still to be said."""
        self.begin()  # somebody who took the run for one that was killed may have taken the marker away
        worker = threading.Thread(target=self._attempt, daemon=True)  # a server may never answer
        worker.start()
        worker.join(_AT_MOST)
        if worker.is_alive():
            return f"this run waits for the history {self.place.shown}, which does not answer; run benchrig history deliver"
        return self.trouble

    def _attempt(self) -> None:
        try:
            self.trouble = self._delivered()
        except BenchrigError as error:
            self.trouble = f"this run waits for the history: {error.message}"
        except OSError as error:
            self.trouble = f"this run waits for the history: {error.strerror or error}"
        except Exception as error:  # a run ends as it does, whatever a database says
            from benchrig.history.failures import told_by

            self.trouble = f"this run waits for the history: {type(error).__name__}{told_by(error)}"

    def _delivered(self) -> str:
        from benchrig.history.filling import fill
        from benchrig.history.opening import open_history

        with open_history(self.place, make=True, patience=_PATIENCE) as history:
            filled = fill(history, [self.folder])
            until = time.monotonic() + _PATIENCE
            others = [each for each in due(self.folder.parent) if waits_for(each, self.place)]
            while others and time.monotonic() < until:
                filled += fill(history, others[:_FEW])
                others = others[_FEW:]
            return _told(filled) or clock_trouble(history)


def due(results: Path) -> list[Path]:
    """The folders of runs that are over and wait, the oldest first. One that was left without a record waits no more: there
    is nothing of it. StationError."""
    over = [folder for folder in waiting(results) if not is_running(folder)]
    empty = [folder for folder in over if not _has_record(folder)]
    forget(empty)
    return [folder for folder in over if folder not in empty]


def _has_record(folder: Path) -> bool:
    record = folder / RECORD
    return record.exists() and record.stat().st_size > 0


def _told(filled: Filled) -> str:
    conflicts = [f"{each.folder} and {each.known} have one run id, and differ" for each in filled.added.conflicts]
    problems = [*filled.problems, *conflicts]
    more = f"; {len(problems) - 1} more: run benchrig history deliver" if len(problems) > 1 else ""
    return f"the history lacks a run: {problems[0]}{more}" if problems else ""


def clock_trouble(history: History) -> str:
    """What to say where this computer has had a run that is still to come: the order of its runs is wrong. Else ''."""
    from sqlalchemy import func, select

    from benchrig.history.tables import runs

    now = int(time.time() * 1_000_000)
    with history.reading() as connection:
        latest = connection.scalar(select(func.max(runs.c.started)).where(runs.c.host == node())) or 0
    if latest <= now + _MINUTE:
        return ""
    moment = moment_text(moment_of(latest))
    return f"the clock of this computer was set back: the history has a run of {moment} UTC, which is still to come; check the clock"
