"""A shift at a line in memory, in one call: a station in a folder, units in its slots, what is scanned."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchrig.line.approving import all_wanted, approvals_path, approve
from benchrig.line.events import Refused
from benchrig.line.journal import NAME, read_line
from benchrig.line.line import Line, LineOptions
from benchrig.line.shift import ShiftState, folded
from benchrig.line.view import LineView, SlotView
from benchrig.loop import in_loop
from benchrig.record.journal import read_record
from benchrig.record.model import Record
from benchrig.station.station import load_station
from benchrig.tasks import Tasks
from tests.line.units import Unit, plan_text, put_file, station_text

# Seconds of real time; none of these is waited for on the virtual clock.
WITHIN = 50.0
BADGE = "P-0001"


@dataclass
class Shop:
    """A station, approved; `units` are in its slots. `more` goes into the station file, `plan` is its plan."""

    folder: Path
    slots: Mapping[str, str] | Sequence[str] = ("1",)
    units: Mapping[str, Unit | str] = field(default_factory=dict)
    more: str = ""
    plan: str = field(default_factory=plan_text)
    barcode: str = r"(?P<serial>VFL3-\d{6})"
    unit: str = "slots/{slot}.yaml"
    options: LineOptions = field(default_factory=lambda: LineOptions(person="K. Lund", acknowledge=True, reports=()))
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    line: Line = field(init=False)

    def __post_init__(self) -> None:
        self.file = self.folder / "line.yaml"
        self.write()
        (self.folder / "plan.yaml").write_text(self.plan, encoding="utf-8")
        for slot, unit in self.units.items():
            put_file(self.folder, slot, unit)
        station = load_station(self.file)
        approve(approvals_path(station, self.file), all_wanted(station, Path()), "A. Berg", self.now())

    def write(self, more: str = "") -> None:
        text = station_text(self.slots, more=self.more + more, barcode=self.barcode, unit=self.unit)
        self.file.write_text(text, encoding="utf-8")

    @property
    def results(self) -> Path:
        return self.folder / "results-rehearsal"

    @property
    def state(self) -> ShiftState:
        """What is on the disk."""
        return folded(read_line(self.results / NAME).events)

    @property
    def words(self) -> list[tuple[str, str]]:
        """Of all units, in order: the label, and what the journal says of it."""
        return [(test.began.unit, test.ended.word) for test in reversed(self.state.last)]

    @property
    def refused(self) -> str:
        """What was said of labels that were not taken."""
        return "; ".join(event.why for event in read_line(self.results / NAME).events if isinstance(event, Refused))

    def record(self, serial: str) -> Record:
        """The newest one of a unit."""
        test = next(test for test in self.state.last if test.began.unit == serial)
        return read_record(test.ended.folder)

    def shift(self, *texts: str) -> LineView:
        """All of it from a pipe; the last view."""

        async def typed(line: Line) -> None:
            for text in texts:
                await line.read(text)

        return self.worked(typed)

    def worked(self, doing: Callable[[Line], Awaitable[None]]) -> LineView:
        """A shift in which somebody does this; then the input ends."""
        self.line = line = Line(self.file, self.options, self.now)

        async def shift() -> None:
            async with Tasks() as tasks:
                work = tasks.start(line.run())
                await until(line, lambda view: view.state != "ready" or view.station == "line 3")
                await doing(line)
                line.finish()
                await work

        in_loop(asyncio.wait_for(shift(), WITHIN * 1000), line.loop_factory)
        return line.view()


async def until(line: Line, is_so: Callable[[LineView], bool]) -> LineView:
    """Wait for a view."""
    while not is_so(view := line.view()):
        line.changed.clear()
        await line.changed.wait()
    return view


def slot(view: LineView, name: str = "1") -> SlotView:
    return next(each for each in view.slots if each.name == name)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in: all that a station file names is seen from there."""
    monkeypatch.chdir(tmp_path)
    return tmp_path
