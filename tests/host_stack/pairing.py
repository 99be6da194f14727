"""Units for each capability, and a bench that pairs with them as each one, in the guest:

    python -m tests.host_stack.pairing OUT

OUT gets a JSON line for each pairing: bench, unit, pairings, passkey, and all that came of it. The file of the devices is
written outside, by `units`.
"""

from __future__ import annotations

import asyncio
import json
import sys
from dataclasses import asdict
from pathlib import Path

from benchrig.radio.host import open_host
from benchrig.radio.link import Link
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection
from benchrig.radio.security import CAPABILITIES, Capability, Pairings, Wish
from benchrig.radio.table import Segment
from benchrig.radio.unit import Unit

DISPLAY, KEYPAD = "6b1d0302-9a53-4c86-8a3e-2f0f6c1d7e40", "6b1d0303-9a53-4c86-8a3e-2f0f6c1d7e40"
FIXED = ("000000", "999999")
_UNIT = """
  - device: {name}
    address: 'C0:00:00:00:0E:{number:02X}'
    advertising: {{interval: 50 ms, data: {{flags: 0x06, name: {name}}}}}
    security: {security}{shows}
    services:
      - service: 6b1d0301-9a53-4c86-8a3e-2f0f6c1d7e40
        characteristics:
          - {{characteristic: {display}, name: display, as: utf8, properties: [notify], raw: ''}}
          - {{characteristic: {keypad}, as: utf8, properties: [write], raw: ''{types}}}
"""
_TYPES = ", on_write: {store: false, enter: '{written}'}"
_SHOWS = "\n    on_display: [{notify: {display: '{number}'}}]"


def units() -> str:
    """The file of the devices: one of each capability, and two with a passkey of their own."""
    every = {f"unit {each}": f"{{capability: {each}}}" for each in CAPABILITIES}
    every |= {f"unit {passkey}": f"{{capability: display, passkey: '{passkey}'}}" for passkey in FIXED}
    return "devices:" + "".join(
        _UNIT.format(
            name=name,
            number=number,
            security=security,
            types=_TYPES * ("keyboard" in security),
            shows=_SHOWS * ("display" in security or "yes/no" in security),
            display=DISPLAY,
            keypad=KEYPAD,
        )
        for number, (name, security) in enumerate(every.items(), 1)
    )


class Person:
    """Between the two: reads what one of them shows, and types it on the other one, or the same number on both."""

    def __init__(self, link: Link, unit: str) -> None:
        self._link = link
        self._has_display = unit.removeprefix("unit ") != "keyboard"
        self._shown: asyncio.Future[str] = asyncio.get_running_loop().create_future()
        self.number: int | None = None

    async def watch(self) -> None:
        [display] = self._link.table.find((Segment(DISPLAY),))

        def heard(data: bytes) -> None:
            if not self._shown.done():
                self._shown.set_result(data.decode())

        await self._link.subscribe(display.attribute, heard, "watch the display", 5.0)

    async def enter(self) -> int | None:
        if not self._has_display:
            await self.show(42)
            return 42
        self.number = int(await self._shown)
        return self.number

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        self.number = passkey
        [keypad] = self._link.table.find((Segment(KEYPAD),))
        await self._link.write(keypad.attribute, f"{passkey:06}".encode(), "type the passkey", 5.0)

    async def compare(self, number: int) -> bool:
        self.number = number
        return int(await self._shown) == number


async def pair(radio: Radio, name: str, capability: Capability, pairings: Pairings) -> dict[str, object]:
    unit = Unit(radio, Selection(name=name))
    radio.look_for(unit.selection)
    await unit.find(0.0, 10.0)
    link = await unit.connect(10.0)
    person = Person(link, name)
    await person.watch()
    paired = await link.security.pair(Wish(capability, capability != "none", pairings), person)
    came = {"bench": capability, "unit": name, "pairings": pairings, "number": person.number, **asdict(paired)}
    came["level"] = link.security.level.words if link.is_up and link.security.level is not None else ""
    if link.is_up:
        await link.security.forget()
    await radio.tidy()
    return came


async def main(out: Path) -> None:
    radio = await open_host("host")
    await radio.prepare(Selection())
    cases = [
        (f"unit {unit}", bench, pairings)
        for unit in CAPABILITIES
        for bench in CAPABILITIES
        for pairings in ("either", "legacy")
    ]
    cases += [(f"unit {passkey}", "keyboard", pairings) for passkey in FIXED for pairings in ("either", "legacy")]
    with out.open("w") as file:
        for name, bench, pairings in cases:
            file.write(json.dumps(await pair(radio, name, bench, pairings)) + "\n")
            file.flush()
    await radio.close()


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1])))
