"""A shift of a line in a folder, without a screen, on the virtual clock, worked at by a simulated operator."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from benchrig.line.approving import all_wanted, approvals_path, approve
from benchrig.line.events import AnyLineEvent, RunBegan, UnitBegan, UnitEnded
from benchrig.line.journal import read_line
from benchrig.line.line import Line, LineOptions
from benchrig.line.view import LineView, SlotView
from benchrig.loop import attended_loop, in_loop
from benchrig.record.journal import read_record
from benchrig.record.model import Record
from benchrig.station.station import load_station
from benchrig.tasks import Tasks
from tests.line.units import Unit, plan_text, put_file, station_text

E = TypeVar("E")
BY = "A. Berg"
AT_WORK = ("proving", "waiting", "running")
# Seconds after which a line that does nothing is thought to hang.
PATIENCE = 3600.0


@dataclass
class Shift:
    """The line at work, and what is done at it."""

    folder: Path
    line: Line

    @property
    def view(self) -> LineView:
        return self.line.view()

    def slot(self, name: str) -> SlotView:
        return next(slot for slot in self.view.slots if slot.name == name)

    def put(self, slot: str, unit: Unit | str | None) -> None:
        put_file(self.folder, slot, unit)

    async def scan(self, *texts: str) -> None:
        for text in texts:
            await self.line.read(text)
            await asyncio.sleep(0.01)

    async def until(self, fits: Callable[[LineView], bool]) -> None:
        """Until the view is so. TimeoutError where it never is."""
        async with asyncio.timeout(PATIENCE):
            while not fits(self.view):
                self.line.changed.clear()
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(0.5):
                        await self.line.changed.wait()

    async def at_rest(self) -> None:
        """Until nothing is tested, and no label waits."""
        await self.until(lambda view: not view.waiting and all(slot.state not in AT_WORK for slot in view.slots))


@dataclass(frozen=True)
class Test:
    """A test of a unit: how it began and ended on record, and the record of its run, if there was one."""

    began: UnitBegan
    ended: UnitEnded
    record: Record | None

    __test__ = False


@dataclass(frozen=True)
class Worked:
    """What a shift left."""

    folder: Path
    events: tuple[AnyLineEvent, ...]
    exit_code: int

    def of(self, kind: type[E]) -> list[E]:
        return [event for event in self.events if isinstance(event, kind)]

    @property
    def tests(self) -> Iterator[Test]:
        """In the order in which they ended."""
        begun = {event.key: event for event in self.of(UnitBegan)}
        folders = {event.key: event.folder for event in self.of(RunBegan)}
        for ended in self.of(UnitEnded):
            folder = ended.folder or folders.get(ended.key, "")
            yield Test(begun[ended.key], ended, self._record(folder) if folder else None)

    def _record(self, folder: str) -> Record:
        found = next(self.folder.glob(f"**/{Path(folder).name}/record.jsonl"))
        return read_record(found)


def written(folder: Path, *, station: str = "", plan: str = "", approved: bool = True) -> Path:
    """The files of a line in this folder, with their approvals; the station file."""
    file = folder / "station.yaml"
    file.write_text(station or station_text(), encoding="utf-8")
    (folder / "plan.yaml").write_text(plan or plan_text(), encoding="utf-8")
    if approved:
        loaded = load_station(file)
        approve(approvals_path(loaded, file), all_wanted(loaded, folder), BY, datetime.now(UTC))
    return file


def worked(
    folder: Path,
    operate: Callable[[Shift], Awaitable[None]],
    *,
    station: str = "",
    plan: str = "",
    person: str = BY,
    seed: int = 1,
    approved: bool = True,
    around: Callable[[], contextlib.AbstractAsyncContextManager[None]] = contextlib.nullcontext,
    real_time: bool = False,
) -> Worked:
    """A whole shift: the line is there, somebody works at it as `operate` says, and it ends. `around` it, inside its loop, is
    what it needs."""
    with contextlib.chdir(folder):
        file = written(folder, station=station, plan=plan, approved=approved)
    results = folder / "results"
    options = LineOptions(
        results=results, person=person, acknowledge=bool(person), seed=seed, reports=(), real_time=real_time
    )
    line = Line(file, options)

    async def whole() -> None:
        with attended_loop(line.interrupt, line.stray):
            async with around(), Tasks() as tasks:
                work = tasks.start(line.run())
                hands = tasks.start(_operated(Shift(folder, line), operate))
                await asyncio.wait({work, hands}, return_when=asyncio.FIRST_COMPLETED)
                if hands.done():
                    hands.result()
                line.finish()
                await work

    with contextlib.chdir(folder):
        in_loop(whole(), line.loop_factory)
    return Worked(folder, read_line(line_file(folder)).events, line.exit_code)


def line_file(folder: Path) -> Path:
    return next(folder.glob("**/line.jsonl"))


async def _operated(shift: Shift, operate: Callable[[Shift], Awaitable[None]]) -> None:
    await shift.until(lambda view: view.state != "person")
    await operate(shift)
