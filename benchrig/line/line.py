"""The controller of a line: texts in, units tested, a view out.

```
line = Line(Path("line3.yaml"), LineOptions())
in_loop(shift(line), line.loop_factory)

async def shift(line: Line) -> int:
    with attended_loop(line.interrupt, line.stray):
        async with Tasks() as tasks:
            work = tasks.start(line.run())     # PlanError, StationError where the shift cannot begin
            ...await line.read(text)...        # each line that was scanned or typed
            await work
    return line.exit_code
```

All of it lives in one loop. `read` only puts a text into a queue; one task takes them in order, and never waits for a
unit. Each unit has a task of its own (`passage.py`), from its label to its word. What happened is written to the journal of
the line before anything is shown.
"""

from __future__ import annotations

import asyncio
import contextlib
import traceback
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from benchrig.errors import BenchrigError, InternalError, StationError
from benchrig.line.events import AnyLineEvent, LineStopped, ShiftEnded
from benchrig.line.floor import Floor
from benchrig.line.opening import opened
from benchrig.line.places import is_simulated
from benchrig.line.reading import Reading
from benchrig.line.recovery import Recovery, note_cut_off
from benchrig.line.station_file import StationFile, hash_of
from benchrig.line.view import LineView
from benchrig.line.viewing import view_of
from benchrig.line.work import LineOptions as LineOptions
from benchrig.line.work import Work
from benchrig.loop import Factory, outside
from benchrig.station.station import load_station
from benchrig.tasks import Tasks

# How often is looked whether a check of the station is missing by now, in seconds.
_LOOK_EVERY = 1.0
BUGS = "line-errors.txt"


def wall() -> datetime:
    return datetime.now(UTC)


class Line:
    """One shift at one station. `changed` is set in the loop when `view` gives something else; `listeners` hear
    each event that was written to the journal. `exit_code` is that of the shift once it is over: 0 in order, 2 interrupted, 3 a bug, 7 stopped or locked at its end."""

    def __init__(self, file: Path, options: LineOptions | None = None, now: Callable[[], datetime] = wall) -> None:
        self.file = file
        self.options = options or LineOptions()
        self.changed = asyncio.Event()
        self.exit_code = 0
        self.listeners: list[Callable[[AnyLineEvent], None]] = []
        self._now = now
        self._wake = asyncio.Event()
        self._typed = deque[tuple[str, int | None]]()
        self._reading: Reading | None = None
        self._interrupts = 0
        self._finishing = self._over = False
        self._bug = ""

    @property
    def loop_factory(self) -> Factory | None:
        """What makes the loop; None for asyncio's own. PlanError for a station file with mistakes."""
        if self.options.real_time or not is_simulated(load_station(self.file)):
            return None
        from benchrig.radio.virtual.clock import VirtualLoop

        return VirtualLoop

    @property
    def work(self) -> Work:
        """What the shift has, while `run` lasts."""
        assert self._reading is not None
        return self._reading.work

    # --- from outside

    async def read(self, text: str, seen: int | None = None) -> None:
        """A line that was scanned or typed: a badge, a label, a word, an answer. Does not wait; nothing is lost. `seen` is the
        number of the question that was on a screen for a moment when it was begun, 0 for none: it answers no other one.
        None: it answers what is open."""
        self._typed.append((text, seen))
        self._wake.set()

    def finish(self) -> None:
        """No more lines: what was read is done, and the shift ends."""
        self._finishing = True
        self._wake.set()

    def interrupt(self) -> None:
        """End the runs in order; called twice, without their finally steps."""
        self._interrupts += 1
        if self._reading is not None:
            self._reading.floor.interrupt()
            self._reading.work.questions.nobody()
        self._wake.set()

    def leave(self) -> None:
        """The terminal is gone, or the system ends the process: as interrupted, once, however often it is said."""
        if not self._interrupts:
            self.interrupt()

    def stray(self, error: str) -> None:
        """An error was raised where nobody waited for it: no verdict of a run at work counts, and the line stops."""
        if self._reading is not None:
            self._reading.floor.stray(error)
        self._broke(InternalError(f"an error was raised where nobody waited for it: {error}"))

    def view(self) -> LineView:
        """What a screen shows now."""
        if self._reading is None:
            return LineView(self.file.stem, "ended" if self._over else "ready", message="the station is being opened")
        return view_of(self._reading, self._bug, is_over=self._over)

    # --- the shift

    async def run(self) -> None:
        """From the opening of the radios to the end of the shift. PlanError with all mistakes of the files and
        StationError where it cannot begin; what happens later is in the view and the journal."""
        try:
            async with (
                opened(self.file, self.options, self._now, self._change, self._woken) as work,
                Tasks(self._broke) as tasks,
            ):
                work.memory.listeners = self.listeners
                floor = Floor(work, tasks, self._is_open, self._is_barred, self._broke, self._wake.set)
                self._reading = Reading(
                    work, floor, StationFile(work, hash_of(self.file)), Recovery(work, floor), tasks
                )
                note_cut_off(work)
                floor.check_stop()
                tasks.leave(work.deliveries.work())
                await self._shift(self._reading)
                await self._end(self._reading)
        except BenchrigError:
            raise
        except Exception as error:
            self._broke(error)
            self.exit_code = 3
        finally:
            self._over = True
            self._change()

    async def _shift(self, reading: Reading) -> None:
        """Until nothing more is to be done."""
        if self.options.person:
            self._guarded(lambda: reading.person(self.options.person))
            self._guarded(lambda: reading.go_on(ends=False))
        self._change()
        while not self._is_done(reading):
            idle = contextlib.nullcontext() if reading.floor.is_busy else outside()
            with idle, contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._wake.wait(), None if reading.floor.is_busy else _LOOK_EVERY)
            self._wake.clear()
            while self._typed and not reading.will_ask:
                self._guarded(lambda: reading.read(*self._typed.popleft()))
                self._guarded(lambda: reading.go_on(ends=False))
            self._guarded(lambda: reading.go_on(ends=self._finishing and not self._typed))
            self._change()
        self._guarded(reading.floor.give_up)
        while reading.floor.programs.are_busy:
            await self._wake.wait()
            self._wake.clear()

    def _is_done(self, reading: Reading) -> bool:
        if self._typed or reading.floor.is_busy or reading.is_asking:
            return False
        return bool(self._interrupts) or reading.ended or (self._finishing and not reading.may_go_on())

    def _is_open(self) -> bool:
        return self._reading is not None and not self._interrupts and not self._bug and self._reading.is_open()

    def _is_barred(self) -> bool:
        """Whether not even a unit that was taken in before may begin."""
        return bool(self._interrupts or self._bug) or self._reading is None or self._reading.is_stopped

    async def _end(self, reading: Reading) -> None:
        work = reading.work
        self.exit_code = self._code(reading)
        with contextlib.suppress(StationError):
            if work.memory.state.shift and not self._interrupts and not self._bug:
                work.memory.note(ShiftEnded(at=work.memory.now(), person=work.memory.state.person))
        await work.deliveries.emptied(patient=False)

    def _code(self, reading: Reading) -> int:
        if self._bug:
            return 3
        if self._interrupts:
            return 2
        left = bool(reading.floor.waiting) and not reading.ended  # who ends a shift leaves what waits
        return 7 if reading.is_stopped or reading.is_locked or left else 0

    def _guarded(self, work: Callable[[], object]) -> None:
        """What cannot be written is told by the view, and keeps units from being begun."""
        try:
            work()
        except StationError as error:
            if self._reading is not None and self._reading.work.memory.trouble is None:
                self._broke(error)
        except Exception as error:
            self._broke(error)

    def _broke(self, error: BaseException) -> None:
        """One sentence for the screen; where it happened is for whoever mends it."""
        self._bug = self._bug or f"benchrig has a bug: {type(error).__name__}: {error}"
        reading = self._reading
        if reading is not None:
            with contextlib.suppress(OSError), (reading.work.results / BUGS).open("a", encoding="utf-8") as file:
                file.write("".join(traceback.format_exception(error)) + "\n")
            with contextlib.suppress(BenchrigError):
                reading.work.memory.note(LineStopped(at=reading.work.memory.now(), why=self._bug))
        self._wake.set()
        self._change()

    def _woken(self) -> None:
        self._wake.set()
        self._change()

    def _change(self) -> None:
        self.changed.set()
