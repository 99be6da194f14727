"""Several units of one kind, and plans that run on all of them at once over one radio of a line."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from benchrig.launch import RunOptions, prepared
from benchrig.line.radios import StationRadios
from benchrig.loop import in_loop
from benchrig.plan.loader import load_plan
from benchrig.radio.lending import Opener
from benchrig.radio.offers import LACKS, PARTLY
from benchrig.radio.specify import RadioChoice, loop_factory, radio_opener
from benchrig.record.accounting import unaccounted
from benchrig.record.model import Record
from benchrig.run.choose import choose_steps
from benchrig.run.unattended import Unattended
from benchrig.station.slots import RadioSpec, SlotSpec
from benchrig.station.station import Station
from tests.run.kit import DEVICES, PLANS, SHIPPED


@dataclass(frozen=True)
class Kind:
    """How units of one kind are told apart: what stands in the device file of one, with the number of the unit in it."""

    device: str
    serial: str
    name: str
    address: str

    def given(self, number: int) -> dict[str, str]:
        return {"serial": _nth(self.serial, number), "name": _nth(self.name, number), "address": self.at(number)}

    def at(self, number: int) -> str:
        return f"{self.address[:-2]}{number:02X}"

    def write(self, number: int, folder: Path, changes: Mapping[str, str] = MappingProxyType({})) -> Path:
        """The device file of this unit, with texts of it changed."""
        text = (DEVICES / f"{self.device}.yaml").read_text(encoding="utf-8")
        text = text.replace("../names/", f"{PLANS}/names/")
        texts = {self.serial: _nth(self.serial, number), self.name: _nth(self.name, number)}
        for old, new in {**texts, self.address: self.at(number), **changes}.items():
            assert old in text, old
            text = text.replace(old, new)
        file = folder / f"{self.device}{number}.yaml"
        file.write_text(text.replace(f"device: {_called(text)}", f"device: unit {number}", 1), encoding="utf-8")
        return file


def _nth(text: str, number: int) -> str:
    return f"{text[:-2]}{number:02}"


def _called(text: str) -> str:
    line = next(line for line in text.splitlines() if line.startswith("device: "))
    return line.partition(": ")[2]


LOGGER = Kind("logger", "VFL3-000042", "VFL-0042", "C4:1F:5A:20:00:42")
SECURE = Kind("secure_logger", "VFS1-000007", "VFS-0007", "C4:1F:5A:22:00:07")
BOX = Kind("transport_box", "PTB2-000113", "PTB-0113", "C4:1F:5A:21:01:13")
SENSOR = Kind("sensor", "TS20-000011", "Sensor-11", "C4:1F:5A:30:00:11")
KINDS = {kind.device: kind for kind in (LOGGER, SECURE, BOX, SENSOR)}


@dataclass(frozen=True)
class Test:
    """A plan for one unit."""

    __test__ = False
    plan: Path
    number: int
    given: Mapping[str, str] = field(default_factory=dict)
    device: tuple[str, ...] = ()

    @classmethod
    def shipped(cls, name: str, number: int, **given: str) -> Test:
        kind = KINDS[SHIPPED[name]]
        return cls(PLANS / f"{name}.yaml", number, kind.given(number) | given, (kind.at(number),))

    def options(self, radio: RadioChoice, station: Station, opener: Opener | None = None) -> RunOptions:
        asked = load_plan(self.plan).given
        plan = load_plan(self.plan, {name: value for name, value in self.given.items() if name in asked})
        return RunOptions(
            plan=plan,
            nodes=choose_steps(plan, (), None),
            station=station,
            radio=radio,
            results=None,
            acknowledged=True,
            device=self.device,
            may_lack=frozenset([*LACKS[radio.kind], *PARTLY[radio.kind]]),
            opener=opener,
        )


def line_of(count: int, radio: str, links: int | None = None) -> Station:
    """A station with so many slots on one radio."""
    slots = {str(number): SlotSpec(radio="only") for number in range(1, count + 1)}
    return Station("bench 1", radios={"only": RadioSpec(radio, links or count)}, slots=slots)


async def in_slot(test: Test, slot: str, radios: StationRadios, choice: RadioChoice) -> Record:
    """One test in one slot, as a line does it."""
    async with radios.link(slot):
        with (
            radios.turn(slot) as pace,
            prepared(test.options(choice, Station("bench 1"), radios.opener(slot)), Unattended(), pace=pace) as run,
        ):
            record = (await run.run()).record
    assert unaccounted(record) == []
    return record


async def at_once(tests: Sequence[Test], radios: StationRadios, choice: RadioChoice) -> list[Record]:
    return await asyncio.gather(
        *(in_slot(test, str(number), radios, choice) for number, test in enumerate(tests, start=1))
    )


def together(tests: Sequence[Test], radio: str | RadioChoice, *, real_time: bool = False) -> list[Record]:
    """All tests at once over this radio."""
    choice = RadioChoice.parse(radio) if isinstance(radio, str) else radio

    async def work() -> list[Record]:
        opener = radio_opener(choice, station="bench 1")
        radios = StationRadios(line_of(len(tests), str(choice)), {"only": opener})
        assert await radios.open() == {}
        async with contextlib.AsyncExitStack() as behind:
            behind.push_async_callback(radios.close)
            return await at_once(tests, radios, choice)

    return in_loop(work(), loop_factory(choice, real_time=real_time))


def alone(test: Test, radio: str | RadioChoice) -> Record:
    """The same test as `benchrig run` does it."""
    choice = RadioChoice.parse(radio) if isinstance(radio, str) else radio
    with prepared(test.options(choice, Station("bench 1")), Unattended()) as run:
        return in_loop(run.run(), run.loop_factory).record


def told(record: Record) -> list[str]:
    """What the run says beside the steps, but for what the radio is, and the files that consoles have left."""
    return [
        note.text for note in record.notes if not note.text.startswith(("air: ", "address: ", "controller", "console-"))
    ]


def main(radio: str, plan: str, *devices: str) -> None:
    """`python -m tests.line.lent RADIO PLAN ADDRESS…`: the plan on all of these units at once, and on each alone; prints what
    came of it as JSON."""
    tests = [Test(Path(plan), number, device=(address,)) for number, address in enumerate(devices, start=1)]
    at_once = [ended(record) for record in together(tests, radio)]
    print(json.dumps({"at once": at_once, "alone": [ended(alone(test, radio)) for test in tests]}))


def ended(record: Record) -> tuple[str, str | None, list[str]]:
    """Verdict and cause, and the first step that did not pass."""
    end = record.ended
    assert end is not None
    failed = [step.planned.name for step in record.steps if step.ended and step.ended.verdict in ("fail", "error")]
    return end.verdict, end.cause, failed[:1]


if __name__ == "__main__":
    main(*sys.argv[1:])
