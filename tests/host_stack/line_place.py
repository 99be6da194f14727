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
from benchrig.testing.sources import load_devices
from tests.host_stack.air import Vhci
from tests.host_stack.guest import BLUETOOTHD
from tests.host_stack.line_cases import LAYOUTS, Case, Layout, station
from tests.line.kit import Shift, line_file, worked
from tests.line.units import Unit

READY_WITHIN = 30.0
DONE_WITHIN = 300.0


@dataclass
class Place:
    """The adapters hci0, hci1, … and what is in the slots beside each."""

    air: SharedAir
    adapters: int
    _ports: dict[int, Vhci] = field(default_factory=dict)
    _inside: dict[str, Guests] = field(default_factory=dict)
    _made: int = 0

    async def plug_in(self, index: int) -> None:
        """The kernel calls it by the lowest number that is free."""
        self._made += 1
        controller = VirtualController(f"hci{index}", self.air.air, f"02:00:00:00:00:{self._made:02X}")
        self._ports[index] = Vhci(controller)
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
    place = Place(SharedAir(1), adapters)
    with (out / "bluetoothd.txt").open("wb") as log:
        await asyncio.create_subprocess_exec(BLUETOOTHD, "-n", "-d", stdout=log, stderr=log)
        for index in range(adapters):
            await place.plug_in(index)
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
            if case.then is not None:
                await self.shift.until(lambda view, case=case: self.shift.slot(case.slot).state == "running")  # type: ignore[misc]
                await asyncio.sleep(1.0)
                await case.then(self.place)
        async with asyncio.timeout(DONE_WITHIN):
            while len(self._tests()) < before + len(cases):
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

    def _tests(self) -> list[tuple[UnitBegan, UnitEnded]]:
        events = read_line(line_file(self.shift.folder)).events
        begun = {event.key: event for event in events if isinstance(event, UnitBegan)}
        return [(begun[event.key], event) for event in events if isinstance(event, UnitEnded)]

    def _came_to(self, cases: tuple[Case, ...], tests: list[tuple[UnitBegan, UnitEnded]]) -> dict[str, Any]:
        ended = {began.slot: (began, end) for began, end in tests}
        found = {case.name: ended.get(case.slot) for case in cases}
        return {
            name: None if each is None else {
                "slot": each[0].slot, "unit": each[0].unit, "again": each[0].again, "word": each[1].word,
                "cause": each[1].cause, "step": each[1].step, "address": each[1].address, "proof": each[1].proof,
                "message": each[1].message, "seconds": round(each[1].seconds, 1),
            }
            for name, each in found.items()
        }  # fmt: skip


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
