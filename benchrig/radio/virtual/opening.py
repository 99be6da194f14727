"""Opening an air with its devices and the bench's own stack in it."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from benchrig.radio.bumble_stack import HostStack
    from benchrig.radio.virtual.air import Air
    from benchrig.radio.virtual.band import Advertiser
    from benchrig.radio.virtual.capture import Capture
    from benchrig.radio.virtual.conditions import Conditions
    from benchrig.radio.virtual.device import SimulatedDevice
    from benchrig.radio.virtual.faults import Faults
    from benchrig.radio.virtual.model import DeviceModel


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
            await _settle()


async def open_air(
    models: Iterable[DeviceModel],
    *,
    seed: int,
    faults: Faults | None = None,
    capture: Path | None = None,
    conditions: Conditions | None = None,
) -> OpenAir:
    """An air with these devices switched on, kind without `conditions`. bumble is imported here: it takes 0.3 s."""
    from benchrig.radio.bumble_stack import HostStack
    from benchrig.radio.virtual.air import Air
    from benchrig.radio.virtual.capture import Capture
    from benchrig.radio.virtual.controller import VirtualController

    air = Air(seed, faults, conditions)
    snooper = Capture(capture) if capture else None
    opened = OpenAir(air, capture=snooper)
    try:
        opened.devices = await switch_on(air, models)
        controller = VirtualController("bench", air)
        opened.stack = await HostStack.open(controller, controller, snooper=snooper)
    except BaseException:
        await opened.shut()
        raise
    return opened


async def switch_on(air: Air, models: Iterable[DeviceModel]) -> dict[str, SimulatedDevice]:
    """Put the devices into the air; the connectable ones by name."""
    from benchrig.radio.virtual.device import SimulatedDevice

    devices: dict[str, SimulatedDevice] = {}
    for model in models:
        if model.only_advertises:
            air.band.start(_advertiser(model))
        else:
            devices[model.name] = SimulatedDevice(air, model)
            await devices[model.name].start()
    return devices


def _advertiser(model: DeviceModel) -> Advertiser:
    from bumble import hci

    from benchrig.radio.virtual.band import Advertiser

    plan = model.advertising
    kind = hci.AddressType.PUBLIC_DEVICE if model.address_type == "public" else hci.AddressType.RANDOM_DEVICE
    until = model.mishaps.stop_advertising_after
    return Advertiser(
        address=hci.Address(model.address, kind),
        data=plan.data,
        scan_response=plan.scan_response,
        interval=plan.interval,
        connectable=plan.connectable,
        scannable=plan.scannable,
        rssi_mean=model.rssi_mean,
        rssi_spread=model.rssi_spread,
        until=None if until is None else asyncio.get_running_loop().time() + until,
    )


async def _settle() -> None:
    """Let what has just been cancelled end, bumble's own tasks too."""
    for _ in range(3):
        await asyncio.sleep(0)
