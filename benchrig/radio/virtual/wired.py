"""What a station has of a simulated device beside the radio: its console, and the switch of its power."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from benchrig.console.console import Console
from benchrig.radio.beside import Beside

if TYPE_CHECKING:
    from benchrig.console.log import Keeping
    from benchrig.radio.virtual.device import SimulatedDevice


def wired(device: SimulatedDevice, keeping: Keeping | None, *, alone: bool) -> Beside:
    """To be made before the device is started: it prints from its first moment. `alone`: no other device has a console."""
    slug = re.sub(r"[^a-z0-9]+", "-", device.spec.name.lower()).strip("-")[:40]
    console = Console(f"the console of {device.spec.name}", keeping, file="console" if alone else f"console-{slug}")
    console.sender = device.take_line
    device.console_listeners.append(console.put)
    return Beside(device.spec.name, console, _Switch(device), lambda: device.advertising.addresses)


class _Switch:
    def __init__(self, device: SimulatedDevice) -> None:
        self._device = device

    async def down(self, within: float) -> None:
        self._device.switch_off()

    async def up(self, within: float) -> bool:
        return self._device.switch_on()
