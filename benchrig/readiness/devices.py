"""Looks at a virtual radio: each of its devices, and the host on each of its ports, has to be heard."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from msgspec.structs import replace

from benchrig.readiness.checks import Check, Station
from benchrig.source.problem import counted

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk
    from benchrig.radio.port.opening import OpenPort
    from benchrig.radio.radio import Radio
    from benchrig.radio.scan import Ear, Sighting
    from benchrig.radio.virtual.device_spec import Simulated

# Of the devices that are heard, and of those that are not.
SHOWN_DEVICES = 5
# A device is silent when so many of its advertising events were missed.
EVENTS = 3


async def look_at_devices(desk: Desk, station: Station, listen: float) -> None:
    """The devices of a virtual radio and the hosts on its ports: each has to be heard. The first ones are named, the
    others counted."""
    from benchrig.radio.virtual import load_devices
    from benchrig.source.problem import Problems

    models = load_devices(desk.options.choice.files, Problems())
    radio = desk.radio.name
    if models:
        station.add(Check(radio, "device files", "yes", f"{counted(len(models), 'device')}"))
    async with desk.listening() as ear:
        await asyncio.sleep(listen)
    checks = [
        _device(radio, one.name, ear.heard.get((one.own_address, one.own_address_type)), listen, _unheard(one, listen))
        for one in models
    ]
    checks += [_host(radio, number, one, ear, listen) for number, one in enumerate(_ports(desk.radio), 1)]
    silent, heard = ([check for check in checks if check.blocks is blocks] for blocks in (True, False))
    for alike, what in ((silent, "were not heard"), (heard, "were heard")):
        for check in alike[:SHOWN_DEVICES]:
            station.add(check)
        if (more := len(alike) - SHOWN_DEVICES) > 0:
            station.add(replace(alike[-1], check="others", found=f"{more} more {what}"))


def _unheard(one: Simulated, listen: float) -> str:
    """What to do about a device that is not heard: a slow one may only need time."""
    patience = EVENTS * one.advertised.interval
    if listen < patience:
        return f"it advertises every {one.advertised.interval:g} s: write --listen '{patience:g} s'"
    return "see 'advertising' and 'faults' in its file"


def _ports(radio: Radio) -> list[OpenPort]:
    from benchrig.radio.port.radio import PortedRadio

    return radio.ports.ports if isinstance(radio, PortedRadio) else []


def _host(radio: str, number: int, one: OpenPort, ear: Ear, listen: float) -> Check:
    """What is known of the host on a port: whether it came, and whether it is heard."""
    name = f"port {number}"
    trouble = one.port.refused or one.lacking() or one.crash() or one.port.gone() or one.silence()
    if trouble is not None:
        return Check(radio, name, "no", trouble.message, trouble.advice, blocks=True)
    if not one.port.has_host:
        return Check(
            radio,
            name,
            "no",
            f"no firmware connected to {one.port.name} within {listen:g} s",
            "start the firmware",
            blocks=True,
        )
    addresses = one.port.controller.addresses
    heard = next((sighting for (address, _), sighting in ear.heard.items() if address in addresses), None)
    return _device(radio, name, heard, listen, "check that its firmware still advertises")


def _device(
    radio: str,
    name: str,
    heard: Sighting | None,
    listen: float,
    advice: str,
) -> Check:
    if heard is None:
        found = f"{name} was not heard in {listen:g} s"
        return Check(radio, name, "no", found, advice, blocks=True)
    interval = "" if heard.interval is None else f", every {1000 * heard.interval:.0f} ms"
    return Check(radio, name, "yes", f"heard at {heard.level_text}{interval}")
