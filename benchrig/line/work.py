"""What all units of a shift share: the station, its radios, what the line knows."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from benchrig.history.choosing import chosen_place
from benchrig.history.place import Place
from benchrig.line.deliveries import Deliveries
from benchrig.line.hiding import Hidden
from benchrig.line.memory import Memory
from benchrig.line.prover import Prover
from benchrig.line.questions import Questions
from benchrig.line.radios import StationRadios
from benchrig.line.rehearsal import RehearsalBench
from benchrig.radio.specify import RadioChoice
from benchrig.report.brought import all_reports
from benchrig.report.registry import ReportChoice
from benchrig.station.station import Station
from benchrig.threads import in_thread

T = TypeVar("T")


@dataclass(frozen=True)
class LineOptions:
    """How a line is worked at. `results` stands in for that of the station file; `person` is on shift without a badge;
    `acknowledge`: that person has read all cautions; `answer_within`: the seconds that a question waits; `by_hand`: somebody
    puts units in and takes them out, and sees the screen."""

    results: Path | None = None
    person: str = ""
    acknowledge: bool = False
    real_time: bool = False
    seed: int = 0
    answer_within: float = 600.0
    by_hand: bool = False
    history: str = ""
    reports: tuple[ReportChoice, ...] = field(default_factory=all_reports)


@dataclass
class Work:
    """Of one shift. `bench` has the simulated units of a rehearsal, `simulated` is a line
    on any simulated radio; `changed` is called when the screen is to show something
    else; `tests` counts the units that were begun."""

    file: Path
    station: Station
    options: LineOptions
    results: Path
    memory: Memory
    radios: StationRadios
    prover: Prover
    bench: RehearsalBench | None
    simulated: bool
    questions: Questions
    deliveries: Deliveries
    changed: Callable[[], None]
    hidden: Hidden
    notes: dict[str, str] = field(default_factory=dict)
    tests: int = 0
    last_word: float | None = None
    # pictures of reports are drawn one after the other: their settings are those of the process
    reporting: asyncio.Lock = field(default_factory=asyncio.Lock)

    @property
    def history(self) -> Place | None:
        return chosen_place(self.options.history, self.station.history, self.results)

    def use(self, station: Station) -> None:
        """From now on this station file; its radios and slots are as before."""
        self.station = self.prover.station = station
        self.hidden = Hidden.at(station)

    def radio(self, slot: str) -> RadioChoice:
        """What the record says that a run in this slot was done over."""
        if self.bench is not None:
            return self.bench.choice(self.radios.name(slot))
        return RadioChoice.parse(self.radios.spec(slot).radio or "host")

    def takt(self) -> float | None:
        """Seconds since the word of the unit before; from now on since this one."""
        now = asyncio.get_running_loop().time()
        before, self.last_word = self.last_word, now
        return None if before is None else now - before


async def apart(work: Callable[[], T]) -> T:
    """What takes a while, in a thread: the other slots' runs go on. On a virtual clock nothing is late meanwhile."""
    if hasattr(asyncio.get_running_loop(), "outside"):
        return work()
    return (await in_thread(work)).result()
