"""An air that several radios of the bench listen to, and that devices come into and leave while it is open.

Two devices of one name are called differently here, and have chances of their own. Two of one address both advertise; a
central that connects to the address reaches the one whose advertisement it hears first, as any central does: it takes
the next one that comes, and the loser advertises on.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.errors import StationError
from benchrig.radio.bumble_stack import BumbleClient, BumbleScanner, HostStack
from benchrig.radio.offers import CANNOT
from benchrig.radio.port.radio import PortedRadio
from benchrig.radio.virtual.air import Air
from benchrig.radio.virtual.airlink import End
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.device import SimulatedDevice
from benchrig.radio.virtual.device_spec import Beacon, Simulated
from benchrig.radio.virtual.opening import beacon, settle
from benchrig.radio.virtual.wired import wired

if TYPE_CHECKING:
    from benchrig.radio.beside import Beside
    from benchrig.radio.bonds import Bonds
    from benchrig.radio.radio import Radio
    from benchrig.radio.virtual.band import Advertiser
    from benchrig.radio.virtual.conditions import Conditions
    from benchrig.radio.virtual.faults import Faults


@dataclass
class Guests:
    """Devices that came into the air together. Beside each connectable one are its console and its switch."""

    devices: list[SimulatedDevice] = field(default_factory=list)
    beacons: list[Advertiser] = field(default_factory=list)
    beside: list[Beside] = field(default_factory=list)


class SharedAir:
    """Open from when it is made, inside a loop, until `close`. Without `conditions` it is kind."""

    def __init__(self, seed: int, conditions: Conditions | None = None, faults: Faults | None = None) -> None:
        self.air = Air(seed, faults, conditions)
        self.seed = seed
        self._stacks: dict[str, HostStack] = {}
        self._unplugged: set[str] = set()
        self._guests: list[Guests] = []

    # Radios

    async def open_radio(self, name: str, bonds: Bonds, title: str) -> Radio:
        """A radio of the bench, one of each name at a time; `title` is its name on record. StationError for one that is
        open already or is unplugged."""
        if name in self._stacks:
            raise StationError(f"{title} is open already", advice="close the first one")
        if name in self._unplugged:
            raise StationError(f"{title} is not there", advice="plug the adapter in again")
        controller = VirtualController(name, self.air)
        stack = await HostStack.open(controller, controller, bonds=bonds)
        self._stacks[name] = stack

        async def close() -> None:
            self._stacks.pop(name, None)
            try:
                await stack.close()
            finally:
                self.release(controller)

        return PortedRadio(
            title,
            simulated=True,
            seed=self.seed,
            cannot=CANNOT["virtual"],
            bonds=bonds,
            stack=stack,
            scanner_options={"backend": BumbleScanner, "stack": stack},
            client_options={"backend": BumbleClient, "stack": stack},
            facts={"air": self.air.conditions.name} if self.air.conditions else {},
            on_close=close,
            failure=self.air.failure,
        )

    def unplug(self, name: str) -> None:
        """Whoever uses this radio finds it gone; its units find out by their supervision time-outs."""
        self._unplugged.add(name)
        controller = self.air.controllers.get(name)
        if name in self._stacks:
            self._stacks[name].host.lose("the adapter is gone")
        if isinstance(controller, VirtualController):
            self.release(controller)

    def plug_in(self, name: str) -> None:
        """It can be opened again."""
        self._unplugged.discard(name)

    def release(self, controller: VirtualController) -> None:
        """Out of the air without a word."""
        for end in list(controller.le_connections.values()):
            if isinstance(end, End):
                end.air_link.darken()
                del controller.le_connections[end.peer_address]
        controller.power_down()
        self.air.remove_controller(controller)

    # Devices

    async def enter(self, units: Iterable[Simulated], *, near: str = "", apart: float = 0.0) -> Guests:
        """Switch these devices on beside the radio `near`, '' for beside all; the others hear them weaker by `apart` dB."""
        guests = Guests()
        self._guests.append(guests)
        for unit in units:
            if isinstance(unit, Beacon):
                guests.beacons.append(_beside(beacon(unit), near, apart))
                self.air.band.start(guests.beacons[-1])
            else:
                device = SimulatedDevice(self.air, unit, self._called(unit.name))
                _beside(device.advertiser, near, apart)
                guests.devices.append(device)
                guests.beside.append(wired(device, None, alone=True))
                await device.start()
        return guests

    def _called(self, name: str) -> str:
        """No other controller of this air is called so now."""
        names = itertools.chain([name], (f"{name}, no. {number}" for number in itertools.count(2)))
        return next(each for each in names if each not in self.air.controllers)

    def cut(self, guests: Guests) -> None:
        """They are without power from now on: silent, and gone from their links without a word."""
        for one in guests.beacons:
            self.air.band.stop(one)
        for device in guests.devices:
            device.switch_off()

    async def leave(self, guests: Guests) -> None:
        """Take them out; at once, as `cut` does."""
        self.cut(guests)
        if guests in self._guests:
            self._guests.remove(guests)
        for device in guests.devices:
            await device.stop()
            device.controller.power_down()
            self.air.remove_controller(device.controller)
        _close_consoles(guests.beside)

    async def close(self) -> None:
        """End everything: the radios are closed by who has opened them. InternalError when something failed unseen."""
        try:
            for guests in list(self._guests):
                await self.leave(guests)
        finally:
            self.air.close()
            await settle()
        self.air.check()


def _beside(advertiser: Advertiser, near: str, apart: float) -> Advertiser:
    advertiser.near, advertiser.apart = near, apart
    return advertiser


def _close_consoles(all_: Sequence[Beside]) -> None:
    for one in all_:
        if one.console is not None:
            one.console.close()
