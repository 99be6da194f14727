"""Evidence from devices on the desk: read everything twice in each of several connections, and listen in between.

Nothing is written but the descriptors that subscribing needs.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Self

from benchrig.desk.desk import Desk
from benchrig.desk.inspecting import advertising_of, look_at
from benchrig.draft.evidence import HIDDEN, Evidence, Heard, Listening, Look, Met, Spot, spots
from benchrig.draft.tolerance import Group
from benchrig.errors import DeviceError, DeviceNotFound, LinkError, NoAnswer
from benchrig.radio.scan import Report, Selection, Sighting
from benchrig.steps.subscription import PROPERTIES

if TYPE_CHECKING:
    from benchrig.desk.inspection import ServiceSeen
    from benchrig.radio.link import Link
    from benchrig.radio.table import Characteristic

# Long enough for a device that advertises twice a second to be heard a few times.
SCAN = 2.0
# Clocks and counters of seconds move on between two readings.
BETWEEN = 1.2
SUBSCRIBE_WITHIN = 5.0
# Bounds what a device can make a draft keep of one stream.
KEPT_VALUES = 4096


@dataclass(frozen=True)
class Collecting:
    """How often to connect to each unit (`repeat`), how long to listen to each characteristic that sends (`listen`,
    seconds), and whether every device that answers the selection is a unit (`each`), which are at least `units`."""

    repeat: int = 2
    listen: float = 5.0
    each: bool = False
    units: int = 1


async def collect(desk: Desk, how: Collecting) -> Evidence:
    """Raises DeviceNotFound, AmbiguousDevice, ConnectFailed, LinkLost, NoAnswer, StationError."""
    evidence = Evidence(simulated=desk.radio.simulated)
    hear = evidence.air.add
    units = await _all(desk, how.units, hear) if how.each else [await desk.find(SCAN, hear)]
    for number, unit in enumerate(units, 1):
        desk.tell(f"unit {number} of {len(units)}: {unit.name or '(no name)'} {unit.address}")
        alone = replace(desk, options=replace(desk.options, selection=Selection(address=unit.address)))
        for visit in range(how.repeat):
            found = unit if visit == 0 else await alone.find(SCAN, hear)
            await (await _Visit.begin(alone, found, visit, evidence)).run(how.listen)
        evidence.met.append(Met(unit.address, unit.name, unit.address))
        evidence.sources.append(f"{unit.name or '(no name)'} {unit.address}, connected {how.repeat} times")
    return evidence


async def _all(desk: Desk, least: int, hear: Callable[[Report], object]) -> list[Sighting]:
    """Every device that answers the selection, in the order of addresses."""
    started, within = desk.now(), desk.options.within
    async with desk.blaming(), desk.listening(hear) as ear:
        while True:
            with desk.showing("looking for devices"):
                await asyncio.sleep(min(SCAN, within))
            found = ear.selected(desk.options.selection)
            if len(found) >= least or desk.now() - started >= within:
                break
    if len(found) < least:
        heard = f"{len(found)} of {least} devices that answer" if least > 1 else "no device that answers"
        raise DeviceNotFound(
            f"{heard} the selection {'were' if len(found) > 1 else 'was'} heard in {within:g} s",
            advice="check that they are powered, and --device, --service or --manufacturer",
        )
    return sorted(found, key=lambda unit: unit.address)


@dataclass
class _Visit:
    """One connection to one unit."""

    desk: Desk
    link: Link
    unit: Sighting
    connect: float
    number: int
    evidence: Evidence

    @classmethod
    async def begin(cls, desk: Desk, unit: Sighting, number: int, evidence: Evidence) -> Self:
        started = desk.now()
        link = await desk.connect(unit)
        return cls(desk, link, unit, round(desk.now() - started, 6), number, evidence)

    async def run(self, listen: float) -> None:
        """Look, listen, look again, and disconnect."""
        before = await look_at(self.desk, self.link)
        self.evidence.looks.append(
            Look(self.unit.address, self.number, before, advertising_of(self.unit), self.connect)
        )
        started = self.desk.now()
        for spot, characteristic in self._senders(before):
            await self._hear(spot, characteristic, listen)
        await _while_up(self.link, max(0.0, BETWEEN - (self.desk.now() - started)))
        self.evidence.looks.append(Look(self.unit.address, self.number, await look_at(self.desk, self.link)))
        await self.link.disconnect()

    def _senders(self, services: list[ServiceSeen]) -> list[tuple[Spot, Characteristic]]:
        by_handle = {c.handle: c for service in self.link.table.services for c in service.characteristics}
        return [
            (spot, by_handle[seen.handle])
            for spot, seen, descriptor in spots(services)
            if descriptor is None and set(PROPERTIES) & set(seen.properties) and spot.service not in HIDDEN
        ]

    async def _hear(self, spot: Spot, characteristic: Characteristic, seconds: float) -> None:
        """Listen to one characteristic; a subscription that is refused is no error here."""
        times: list[float] = []
        values: list[bytes] = []

        def hear(data: bytes) -> None:
            times.append(self.desk.now())
            if len(values) < KEPT_VALUES:
                values.append(bytes(data))

        label = self.desk.names.label(characteristic.uuid, "characteristic")
        doing = f"subscribe to {label}"
        async with self.desk.blaming():
            try:
                await self.link.subscribe(characteristic, hear, doing, SUBSCRIBE_WITHIN)
            except (DeviceError, LinkError) as error:
                if isinstance(error, NoAnswer) or not self.link.is_up:
                    raise
                self.evidence.silent[spot] = error.message
                return
            with self.desk.showing(f"listening to {label} for {seconds:g} s"):
                await _while_up(self.link, seconds)
            await self.link.unsubscribe(characteristic, doing, SUBSCRIBE_WITHIN)
        self.evidence.heard.append(Heard(spot, listening(self.unit.address, seconds, times, values)))


async def _while_up(link: Link, seconds: float) -> None:
    """Wait; a link that is lost ends it, and the next operation says so."""
    try:
        async with asyncio.timeout(seconds):
            await link.lost.wait()
    except TimeoutError:
        return


def listening(unit: str, seconds: float, times: list[float], values: list[bytes]) -> Listening:
    """The statistics of one subscription from the times of its notifications."""
    gaps = [later - earlier for earlier, later in pairwise(times)]
    span = times[-1] - times[0] if times else 0.0
    return Listening(
        unit, seconds, len(times), len(gaps) / span if span > 0 else None, Group.of(gaps) if gaps else None, values
    )
