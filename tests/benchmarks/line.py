"""A line at real time: four slots against one, and what of a unit's time is waiting, and what is work."""

from __future__ import annotations

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import click

from benchrig.line.events import UnitBegan, UnitEnded
from tests.line.kit import Shift, Worked, worked
from tests.line.lent import LOGGER, PLANS

# With an air of its own each slot would be as fast as one alone.
AIM = 3.0
# Of the time of a unit, for which it keeps a processor busy: bench and simulated unit together.
WORK_AIM = 0.10
LABEL = r"(?P<serial>VFL3-\d{6}) (?P<name>VFL-\d{4}) (?P<address>(?:[0-9A-F]{2}:){5}[0-9A-F]{2})"


@dataclass(frozen=True)
class Measured:
    """Of a shift: seconds on the wall and of a processor, and what each unit took from its label to its word, and in its
    run."""

    seconds: float
    work: float
    units: tuple[float, ...]
    runs: tuple[float, ...]

    @property
    def an_hour(self) -> float:
        return len(self.units) * 3600 / self.seconds


def station(slots: int, *, shared: bool) -> str:
    """So many slots, on radios of their own, or on one for all."""
    names = [f"'{slot}'" for slot in range(1, slots + 1)]
    radios = ["all"] if shared else [f"r{slot}" for slot in range(1, slots + 1)]
    links = slots if shared else 1
    return (
        "station: line 3\nresults: results\nradios:\n"
        + "".join(f"  {name}: {{radio: virtual, links: {links}}}\n" for name in radios)
        + "slots:\n"
        + "".join(f"  {name}: {{radio: {radios[at % len(radios)]}}}\n" for at, name in enumerate(names))
        + "rehearsal: {unit: 'units/{serial}.yaml'}\nproducts:\n  logger:\n"
        + f"    barcode: '{LABEL}'\n    plan: {PLANS / 'end_of_line.yaml'}\n    given: {{firmware: 3.2.1}}\n"
    )


def shift(slots: int, units: int, *, shared: bool = False) -> Measured:
    """That many units in each slot, at real time."""
    numbers = range(1, slots * units + 1)
    span = [0.0, 0.0]

    async def operate(at: Shift) -> None:
        span[:] = time.perf_counter(), time.process_time()
        for number in numbers:
            await at.scan(label(number))
        released = 0
        while released < len(numbers):
            await at.until(lambda view: any(slot.release for slot in view.slots) or not at_work(at))
            out = [slot.serial for slot in at.view.slots if slot.release]
            await at.scan(*(label(int(serial[-2:])) for serial in out))
            released += len(out)
            if not at_work(at) and not out:
                break
        span[:] = time.perf_counter() - span[0], time.process_time() - span[1]

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "units").mkdir()
        for number in numbers:
            LOGGER.write(number, folder).rename(folder / "units" / f"{LOGGER.given(number)['serial']}.yaml")
        return _measured(worked(folder, operate, station=station(slots, shared=shared), real_time=True), span)


def at_work(shift: Shift) -> bool:
    return bool(shift.view.waiting) or any(
        slot.state in ("proving", "waiting", "running") or slot.release for slot in shift.view.slots
    )


def label(number: int) -> str:
    given = LOGGER.given(number)
    return f"{given['serial']} {given['name']} {given['address']}"


def _measured(done: Worked, span: list[float]) -> Measured:
    words = {began.unit: ended.word for began, ended in zip(done.of(UnitBegan), done.of(UnitEnded), strict=True)}
    assert set(words.values()) == {"PASS"}, words
    tests = [*done.tests]
    runs = [test.record.ended.at for test in tests if test.record is not None and test.record.ended is not None]
    return Measured(span[0], span[1], tuple(test.ended.seconds for test in tests), tuple(runs))


def line(units: int = 2) -> None:
    one = shift(1, units)
    for what, four in (("a radio each", shift(4, units)), ("one radio", shift(4, units, shared=True))):
        click.echo(
            f"line at real time, four slots on {what}: {four.an_hour:.0f} units an hour, one slot {one.an_hour:.0f}, "
            f"ratio {four.an_hour / one.an_hour:.2f} (aim ≥ {AIM})"
        )
        _share(what, four)
    _share("one slot", one)


def _share(what: str, shift: Measured) -> None:
    count = len(shift.units)
    unit, run, work = sum(shift.units) / count, sum(shift.runs) / count, shift.work / count
    click.echo(
        f"  {what}: a unit takes {unit:.1f} s from label to word, its plan {run:.1f} s of these, a processor {work:.2f} s: "
        f"{work / unit:.1%} (aim ≤ {WORK_AIM:.0%})"
    )
