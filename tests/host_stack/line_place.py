"""In the guest: a line with its adapters, and the air that its units come into, in one process.

    python -m tests.host_stack.line_place OUT LAYOUT

Works at the rounds of `line_cases.py` for this layout, and writes into OUT/LAYOUT.json what came of each case.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import subprocess
import sys
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchrig.line.events import UnitBegan, UnitEnded
from benchrig.line.journal import read_line
from benchrig.radio.bluez import Bluez
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.radio.virtual.shared_air import Guests, SharedAir
from benchrig.record.journal import read_record
from benchrig.testing.sources import load_devices
from tests.host_stack.air import Vhci
from tests.host_stack.guest import BLUETOOTHD
from tests.host_stack.line_cases import LAYOUTS, WHILE, Case, Layout, station
from tests.line.kit import Shift, line_file, worked
from tests.line.units import Unit

READY_WITHIN = 30.0
DONE_WITHIN = 300.0


@dataclass
class Place:
    """The adapters hci0, hci1, … and what is in the slots beside each."""

    air: SharedAir
    log: Path
    _ports: dict[int, Vhci] = field(default_factory=dict)
    _inside: dict[str, Guests] = field(default_factory=dict)
    _made: int = 0
    _service: asyncio.subprocess.Process | None = None

    async def start_service(self) -> None:
        """With all adapters powered."""
        with self.log.open("ab") as log:
            self._service = await asyncio.create_subprocess_exec(BLUETOOTHD, "-n", "-d", stdout=log, stderr=log)
        for index in self._ports:
            await _powered(f"hci{index}")

    async def kill_service(self) -> None:
        assert self._service is not None
        self._service.kill()
        await self._service.wait()

    async def plug_in(self, index: int) -> None:
        """The kernel calls it by the lowest number that is free."""
        self._made += 1
        controller = VirtualController(f"hci{index}", self.air.air, f"02:00:00:00:00:{self._made:02X}")
        self._ports[index] = Vhci(controller)
        if self._service is not None:
            await _powered(f"hci{index}")

    def unplug(self, index: int) -> None:
        port = self._ports.pop(index)
        asyncio.get_running_loop().remove_reader(port.fd)
        os.close(port.fd)
        port.controller.host = None
        self.air.release(port.controller)

    async def put(self, slot: str, adapter: int, units: tuple[Unit, ...]) -> None:
        await self.take(slot)
        found: list[Simulated] = [one for unit in units for one in load_devices([unit.text])]
        self._inside[slot] = await self.air.enter(found, near=f"hci{adapter}", apart=30)

    async def take(self, slot: str) -> None:
        if (guests := self._inside.pop(slot, None)) is not None:
            await self.air.leave(guests)


@contextlib.asynccontextmanager
async def opened(adapters: int, out: Path) -> AsyncIterator[Place]:
    """The bus, the adapters, the service; all is powered."""
    subprocess.run(["dbus-daemon", "--system", "--fork", "--nopidfile"], check=True)
    place = Place(SharedAir(1), out / "bluetoothd.txt")
    for index in range(adapters):
        await place.plug_in(index)
    await place.start_service()
    yield place


async def _powered(adapter: str) -> None:
    async with asyncio.timeout(READY_WITHIN):
        while True:
            with contextlib.suppress(Exception):
                bluez = await Bluez.open(adapter)
                try:
                    await bluez.set_adapter("Powered", True)
                    return
                finally:
                    await bluez.close()
            await asyncio.sleep(0.1)


@dataclass
class Round:
    """Cases that are in their slots at once."""

    place: Place
    shift: Shift
    layout: Layout

    async def done(self, cases: tuple[Case, ...]) -> dict[str, Any]:
        for case in cases:
            await self.place.put(case.slot, self.layout.adapter(case.slot), case.inside)
        before = len(self._tests())
        for case in cases:
            await self.shift.scan(*case.scans)
        for case in cases:
            if case.then is not None:
                await self._in_step([each.slot for each in cases] if case.all_ else [case.slot], WHILE)
                await case.then(self.place)
        async with asyncio.timeout(DONE_WITHIN):
            while len(self._tests()) < before + sum(case.word != "refused" for case in cases):
                await asyncio.sleep(0.2)
        await self.shift.at_rest()
        if self.layout.is_shared:  # what is taken out says so by its label
            await self.shift.scan(*(case.label for case in cases))
        for case in cases:
            await self.place.take(case.slot)
        for case in cases:
            if case.mend is not None:
                await case.mend(self.place)
        return self._came_to(cases, self._tests()[before:])

    async def _in_step(self, slots: list[str], name: str) -> None:
        """Until one of them is."""
        async with asyncio.timeout(DONE_WITHIN):
            while not any(name in self.shift.slot(slot).step for slot in slots):
                await asyncio.sleep(0.05)

    def _tests(self) -> list[tuple[UnitBegan, UnitEnded]]:
        events = read_line(line_file(self.shift.folder)).events
        begun = {event.key: event for event in events if isinstance(event, UnitBegan)}
        return [(begun[event.key], event) for event in events if isinstance(event, UnitEnded)]

    def _came_to(self, cases: tuple[Case, ...], tests: list[tuple[UnitBegan, UnitEnded]]) -> dict[str, Any]:
        ended = {began.slot: (began, end) for began, end in tests}
        return {case.name: _told(*ended[case.slot]) if case.slot in ended else None for case in cases}


def _told(began: UnitBegan, ended: UnitEnded) -> dict[str, Any]:
    names = ("word", "cause", "step", "proof", "message")
    return {
        "unit": began.unit,
        "again": began.again,
        "marks": _marks(ended.folder),
        **{name: getattr(ended, name) for name in names},
    }


def _marks(folder: str) -> list[str]:
    """What the unit that answered tells, and no other one."""
    if not folder:
        return []
    steps = read_record(Path(folder) / "record.jsonl").steps
    asked = [step for step in steps if step.planned.name in ("who begins", "who ends")]
    return sorted({str(reading.value) for step in asked for reading in step.readings if reading.name == "value"})


def main(out: Path, layout: Layout) -> None:
    folder = out / layout.name
    folder.mkdir()
    found: dict[str, Any] = {}
    places: list[Place] = []

    @contextlib.asynccontextmanager
    async def around() -> AsyncIterator[None]:
        async with opened(layout.adapters, out) as place:
            places.append(place)
            yield

    async def operate(shift: Shift) -> None:
        at = Round(places[0], shift, layout)
        for cases in layout.rounds:
            found.update(await at.done(cases))
            (out / f"{layout.name}.json").write_text(json.dumps(found))

    done = worked(folder, operate, station=station(layout), plan=layout.plan, around=around)
    (out / f"{layout.name}.json").write_text(json.dumps({**found, "exit code": done.exit_code}))
    os._exit(0)


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), LAYOUTS[sys.argv[2]])
