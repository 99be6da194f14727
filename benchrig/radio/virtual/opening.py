"""Opening an air with its devices and the bench's own stack in it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.radio.bonds import MemoryBonds

if TYPE_CHECKING:
    from pathlib import Path

    from benchrig.radio.bonds import Bonds
    from benchrig.radio.bumble_stack import HostStack
    from benchrig.radio.virtual.air import Air
    from benchrig.radio.virtual.band import Advertiser
    from benchrig.radio.virtual.capture import Capture
    from benchrig.radio.virtual.conditions import Conditions
    from benchrig.radio.virtual.device import SimulatedDevice
    from benchrig.radio.virtual.device_spec import Beacon, Simulated
    from benchrig.radio.virtual.faults import Faults


@dataclass
class OpenAir:
    """`stack` goes to BumbleScanner and BumbleClient, `devices` are the connectable ones by name."""

    air: Air
    stack: HostStack = field(init=False)
    devices: dict[str, SimulatedDevice] = field(default_factory=dict)
    capture: Capture | None = None

    @property
    def faults(self) -> Faults:
        return self.air.faults

    async def close(self) -> None:
        """End everything; no task is left. Raises InternalError when something failed unseen in the meantime."""
        try:
            await self.stack.close()
        finally:
            await self.shut()
        self.air.check()

    async def shut(self) -> None:
        """End all but the bench's own stack."""
        for device in self.devices.values():
            await device.stop()
        self.air.close()
        try:
            if self.capture:
                self.capture.close()
        finally:
            await settle()


async def open_air(
    units: Iterable[Simulated],
    *,
    seed: int,
    faults: Faults | None = None,
    capture: Path | None = None,
    conditions: Conditions | None = None,
    made: Callable[[SimulatedDevice], object] = lambda device: None,
    bonds: Bonds | None = None,
) -> OpenAir:
    """An air with these devices switched on, kind without `conditions`. `made` gets each connectable one before. `bonds`
    are the bench's, none at first without. bumble is imported here: it takes 0.3 s."""
    from benchrig.radio.bumble_stack import HostStack
    from benchrig.radio.virtual.air import Air
    from benchrig.radio.virtual.capture import Capture
    from benchrig.radio.virtual.controller import VirtualController

    air = Air(seed, faults, conditions)
    snooper = Capture(capture) if capture else None
    opened = OpenAir(air, capture=snooper)
    try:
        opened.devices = await switch_on(air, units, made)
        controller = VirtualController("bench", air)
        opened.stack = await HostStack.open(controller, controller, bonds=bonds or MemoryBonds(), snooper=snooper)
    except BaseException:
        await opened.shut()
        raise
    return opened


async def switch_on(
    air: Air, units: Iterable[Simulated], made: Callable[[SimulatedDevice], object] = lambda device: None
) -> dict[str, SimulatedDevice]:
    """Put the devices into the air; the connectable ones by name."""
    from benchrig.radio.virtual.device import SimulatedDevice
    from benchrig.radio.virtual.device_spec import Beacon

    devices: dict[str, SimulatedDevice] = {}
    for unit in units:
        if isinstance(unit, Beacon):
            air.band.start(beacon(unit))
        else:
            devices[unit.name] = SimulatedDevice(air, unit)
            made(devices[unit.name])
            await devices[unit.name].start()
    return devices


def beacon(spec: Beacon) -> Advertiser:
    """What only advertises, to be started on a band."""
    from benchrig.radio.bumble_stack.bumble_api import hci
    from benchrig.radio.virtual.band import Advertiser

    said = spec.advertised
    return Advertiser(
        address=hci.Address(spec.own_address, hci.AddressType.RANDOM_DEVICE),
        data=said.data,
        scan_response=said.scan_response,
        interval=said.interval,
        connectable=said.connectable,
        scannable=said.scannable,
        rssi_mean=spec.rssi.dbm,
        rssi_spread=spec.rssi.db,
    )


async def settle() -> None:
    """Let what has just been cancelled end, bumble's own tasks too."""
    for _ in range(3):
        await asyncio.sleep(0)
