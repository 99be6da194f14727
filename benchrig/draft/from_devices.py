"""Evidence from devices on the desk: read everything twice in each of several connections, and listen in between.

Nothing is written but the descriptors that subscribing needs. A lost link is made again; an attribute with which it is
lost twice is left out.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from benchrig.desk.desk import Desk
from benchrig.desk.inspecting import advertising_of, handles_of, look_at, table_seen
from benchrig.desk.inspection import LEFT_OUT, LOST_BEFORE, CharacteristicSeen
from benchrig.desk.paths import Place, attributes_in
from benchrig.desk.protection import measure
from benchrig.draft.evidence import HIDDEN, Evidence, KnownUnit, Snapshot, StreamSeen
from benchrig.errors import DeviceError, DeviceNotFound, LinkError, LinkLost, NoAnswer, SystemPairing
from benchrig.radio.scan import Report, Sighting
from benchrig.radio.security import Paired
from benchrig.steps.subscription import PROPERTIES
from benchrig.study.tolerance import Group
from benchrig.values.statistics import Arrivals, Moments

if TYPE_CHECKING:
    from benchrig.desk.inspection import ServiceSeen
    from benchrig.radio.link import Link
    from benchrig.radio.table import Characteristic

# Long enough for a device that advertises twice a second to be heard a few times; others need longer.
SCAN, LONG_SCAN = 2.0, 10.0
ENOUGH_GAPS = 3
# Clocks and counters of seconds move on between two readings.
BETWEEN = 1.2
SUBSCRIBE_WITHIN = 5.0
# Bounds what a device can make a draft keep of one stream.
KEPT_VALUES = 4096
# An attribute is left out when the link is lost with it so often, and the draft is given up after so many losses in one
# connection.
STRIKES = 2
MOST_LOSSES = 10


@dataclass(frozen=True)
class Collecting:
    """How evidence is collected."""

    # connections to each unit
    repeat: int = 2
    # seconds for each characteristic that sends
    listen: float = 5.0
    # every device that answers the selection is a unit, and so many there are at least
    each: bool = False
    units: int = 1
    # names of attributes that nothing is asked of, and of those that may be written with the value that is there
    skip: tuple[str, ...] = ()
    writes: tuple[str, ...] = ()


async def collect(desk: Desk, how: Collecting) -> Evidence:
    """Raises DeviceNotFound, AmbiguousDevice, ConnectFailed, LinkLost, StationError; AttributeMissing for a name in
    `skip` that the device does not have."""
    desk = replace(desk, options=replace(desk.options, keeps_bond=False))  # a drafted plan begins without a bond
    evidence = Evidence(simulated=desk.radio.simulated, lacks=frozenset(desk.radio.lacks))
    evidence.hides = not desk.radio.whole_table
    hear = evidence.air.add
    units = await _all(desk, how.units, hear) if how.each else [await _heard_well(desk, hear)]
    for number, unit in enumerate(units, 1):
        desk.tell(f"unit {number} of {len(units)}: {unit.name or '(no name)'} {unit.address}")
        alone = desk.held_to(unit)
        if number == 1 and desk.options.pair is not None:  # before the visits make a bond
            evidence.protection = await measure(alone, desk.options.pair, how.writes)
        for visit in range(how.repeat):
            found = unit if visit == 0 else await _heard_well(alone, hear)
            await _Visit(alone, found, evidence, how).run()
        evidence.met.append(KnownUnit(unit.address, unit.name, unit.address))
        evidence.sources.append(f"{unit.name or '(no name)'} {unit.address}, connected {how.repeat} times")
        if number == 1 and evidence.wants_security:
            evidence.protection = evidence.protection or await measure(alone, None)
    return evidence


async def _heard_well(desk: Desk, hear: Callable[[Report], object]) -> Sighting:
    """The device, heard often enough to know its interval, where the radio can tell one."""
    unit = await desk.find(SCAN, hear)
    if len(unit.gaps) >= ENOUGH_GAPS or "scan.interval" in desk.radio.lacks:
        return unit
    return await desk.find(LONG_SCAN, hear)


async def _all(desk: Desk, least: int, hear: Callable[[Report], object]) -> list[Sighting]:
    """Every device that answers the selection, in the order of addresses."""
    started, within = desk.now(), desk.options.within
    async with desk.listening(hear) as ear:
        while True:
            async with desk.showing("looking for devices"):
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
    """One connection to one unit, made again when it is lost."""

    desk: Desk
    unit: Sighting
    evidence: Evidence
    how: Collecting
    _strikes: Counter[Place] = field(default_factory=Counter)
    _losses: int = 0

    async def run(self) -> None:
        """Connect, look, listen, look again, and disconnect."""
        link = await self.desk.connect()
        if isinstance(self.desk.secured, Paired):
            self.evidence.paired.append(self.desk.secured)
        took, payload = self.desk.took, await link.settled_payload()
        services = await self._looked()
        self.evidence.looks.append(
            Snapshot(
                self.unit.address, services, advertising_of(self.unit), took, self.desk.attempts, payload,
                self.unit.address_type, self._source,
            )
        )  # fmt: skip
        started = self.desk.now()
        for place in self._senders(services):
            await self._hear(place)
        await _while_up(self.link, max(0.0, BETWEEN - (self.desk.now() - started)))
        self.evidence.looks.append(Snapshot(self.unit.address, await self._looked(), source=self._source))
        self.evidence.unasked.append(self.desk.device.unasked)
        await self.link.disconnect()

    @property
    def link(self) -> Link:
        return self.desk.device.link

    @property
    def _source(self) -> str:
        return f"connected to {self.unit.name or self.unit.address}"

    def _senders(self, services: list[ServiceSeen]) -> Iterator[Place]:
        for place, seen in attributes_in(services):
            sends = isinstance(seen, CharacteristicSeen) and set(PROPERTIES) & set(seen.properties)
            if sends and place.service not in HIDDEN:
                yield place

    def _skipped(self) -> dict[int, str]:
        """Handles of what is left out, and why."""
        asked, handles = dict.fromkeys(handles_of(self.desk, self.how.skip), LEFT_OUT), self._handles()
        return asked | {handles[place]: why for place, why in self.evidence.left_out.items() if place in handles}

    def _handles(self) -> dict[Place, int]:
        seen = attributes_in(table_seen(self.link.table, self.desk.names))
        return {place: attribute.handle for place, attribute in seen}

    async def _looked(self) -> list[ServiceSeen]:
        """Everything that can be read."""
        while True:
            services = await look_at(self.desk, self._skipped())
            if self.link.is_up or not (lost := _lost_with(services)):
                return services
            await self._again(*lost)

    async def _hear(self, place: Place) -> None:
        """Listen to one characteristic; a subscription that is refused is no error here."""
        while place not in self.evidence.silent and place not in self.evidence.left_out:
            handle = self._handles()[place]
            if handle in self._skipped():
                return
            try:
                await self._listen(place, handle)
            except (LinkError, NoAnswer, SystemPairing) as error:
                await self._again(place, error.message)
            else:
                return

    async def _listen(self, place: Place, handle: int) -> None:
        link, seconds = self.link, self.how.listen
        characteristic = _characteristic(link, handle)
        ear = _Listener(self.desk.now)
        label = self.desk.names.label(characteristic.uuid, "characteristic")
        doing = f"subscribe to {label}"
        async with self.desk.blaming():
            try:
                await self.desk.device.subscribe(characteristic, ear.hear, doing, SUBSCRIBE_WITHIN)
            except (DeviceError, LinkError) as error:
                if isinstance(error, NoAnswer) or not link.is_up:
                    raise
                self.evidence.silent[place] = error.message
                return
            async with self.desk.showing(f"listening to {label} for {seconds:g} s"):
                await _while_up(link, seconds)
            await self.desk.device.unsubscribe(characteristic, ear.hear, SUBSCRIBE_WITHIN, doing)
            if not link.is_up:
                raise LinkLost(f"the link was lost while {label} was listened to ({link.lost_reason})")
        self.evidence.heard.append(ear.seen(place, self.unit.address, seconds, self._source))

    async def _again(self, place: Place | None, why: str) -> None:
        """Connect again after a loss; an attribute with which the link is lost repeatedly is left out from now on."""
        self._losses += 1
        if self._losses > MOST_LOSSES:
            raise LinkLost(f"the link was lost {self._losses} times: {why}", advice="leave attributes out with --skip")
        self.desk.tell(f"connecting again: {why}")
        if place is not None:
            self.evidence.ended[place] = self.link.lost_reason
            self._strikes[place] += 1
            if self._strikes[place] >= STRIKES:
                self.evidence.left_out[place] = why
        await self.desk.radio.tidy()
        await self.desk.reach()


def _lost_with(services: list[ServiceSeen]) -> tuple[Place | None, str]:
    """The attribute that was being read when the link was lost, and what was said of it; None when it was lost before
    anything was read."""
    for place, seen in attributes_in(services):
        if not seen.is_known and seen.unread not in (LEFT_OUT, LOST_BEFORE):
            return place, seen.unread
    return None, "the link was lost between two readings"


def _characteristic(link: Link, handle: int) -> Characteristic:
    return next(c for service in link.table.services for c in service.characteristics if c.handle == handle)


class _Listener:
    """Takes what one characteristic sends: the first values, and when all of them came."""

    def __init__(self, now: Callable[[], float]) -> None:
        self._now = now
        self._values: list[bytes] = []
        self._times: list[float] = []
        self._arrivals, self._gaps = Arrivals(), Moments()

    def hear(self, data: bytes) -> None:
        at = self._now()
        if self._arrivals.count:
            self._gaps.add(at - self._arrivals.last)
        self._arrivals.add(at, len(data))
        if len(self._values) < KEPT_VALUES:
            self._values.append(bytes(data))
            self._times.append(at)

    def seen(self, place: Place, unit: str, seconds: float, source: str) -> StreamSeen:
        came = self._arrivals
        gaps, p95 = Group.summed(self._gaps), came.gap_percentile(95)
        kept = self._values
        return StreamSeen(
            place, unit, seconds, came.count, came.rate, gaps, kept, gap_p95=p95, times=self._times, source=source
        )


async def _while_up(link: Link, seconds: float) -> None:
    """Wait; a link that is lost ends it, and the next operation says so."""
    try:
        async with asyncio.timeout(seconds):
            await link.lost.wait()
    except TimeoutError:
        return
