"""The devices on the air, each with the statistics of its newest reports."""

from __future__ import annotations

import asyncio
import statistics
from collections import deque
from collections.abc import AsyncGenerator, Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from benchrig.desk.inspecting import advertising_of
from benchrig.desk.inspection import AdvertisingSeen
from benchrig.desk.pace import Pace
from benchrig.radio.scan import Report, Selection, Sighting, make_room
from benchrig.values.address import kind_of_random, resolves
from benchrig.values.jsonable import hex_text

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk
    from benchrig.values.advertising import AdField

SortOrder = Literal["level", "name", "age", "rate"]
ORDERS: tuple[SortOrder, ...] = ("level", "name", "age", "rate")
# A list that is redrawn all the time looks back on so many reports of a device.
LIVE_WINDOW = 64
# Addresses that change all the time must not fill the memory: those unheard for longest give way, the selected last.
MOST_DEVICES = 5000
MOST_ADDRESSES = 32


@dataclass
class AirRow:
    """One row of the list: a device, or all addresses that belong to one identity key (`key` counts from 1; 0 for
    none). `addresses` are the newest ones, in the order in which they were first heard."""

    sighting: Sighting
    pace: Pace
    key: int = 0
    addresses: deque[str] = field(default_factory=lambda: deque(maxlen=MOST_ADDRESSES))

    def add(self, report: Report) -> None:
        if report.address not in self.addresses:
            self.addresses.append(report.address)
        self.sighting.address = report.address
        self.sighting.add(report)
        self.pace.add(report.at)

    def copy(self) -> AirRow:
        """As it is now, untouched by what comes."""
        old = self.sighting
        sighting = replace(
            old, services=[*old.services], manufacturer_data={**old.manufacturer_data},
            service_data={**old.service_data}, rssi=old.rssi.copy(), gaps=old.gaps.copy(),
        )  # fmt: skip
        return AirRow(sighting, self.pace.copy(), self.key, self.addresses.copy())

    @property
    def spread(self) -> float | None:
        """Standard deviation of the level in dB; None with fewer than two reports."""
        rssi = self.sighting.rssi
        return statistics.stdev(map(float, rssi)) if len(rssi) > 1 else None

    @property
    def address_kind(self) -> str:
        """'public', 'static', 'resolvable private' …; '' where the radio does not tell."""
        sighting = self.sighting
        return kind_of_random(sighting.address) if sighting.address_type == "random" else sighting.address_type

    @property
    def identity(self) -> str:
        """What stays the same while addresses change."""
        return _identity(self.key, self.sighting.address, self.sighting.address_type)


class AirList:
    """Gathers reports into rows. `window` reports of each device decide its statistics. `keys` are identity resolving
    keys, the most significant octet first: the private addresses made with one of them are one row."""

    def __init__(
        self,
        selection: Selection | None = None,
        *,
        window: int = LIVE_WINDOW,
        keys: Sequence[bytes] = (),
        resolve: Callable[[bytes, str], bool] = resolves,
        most: int = MOST_DEVICES,
    ) -> None:
        self.selection = selection or Selection()
        self.heard: dict[str, AirRow] = {}
        self.total = 0
        self._window = window
        self._keys = tuple(keys)
        self._resolve = resolve
        self._most = most
        self._key_of: dict[str, int] = {}

    def add(self, report: Report) -> AirRow:
        self.total += 1
        key = self._known_key(report) if self._keys else 0
        identity = _identity(key, report.address, report.address_type)
        row = self.heard.get(identity)
        if row is None:
            if len(self.heard) >= self._most:
                accepts = self.selection.accepts
                make_room(self.heard, self._most, lambda each: (accepts(each.sighting), each.sighting.last_at))
            row = self.heard[identity] = self._row(report, key)
        row.add(report)
        return row

    def copy(self) -> AirList:
        """The rows as they are now, untouched by what comes."""
        still = AirList(self.selection)
        still.heard = {identity: row.copy() for identity, row in self.heard.items()}
        return still

    def fitting(self) -> list[AirRow]:
        """The rows that the selection accepts."""
        return [row for row in self.heard.values() if self.selection.accepts(row.sighting)]

    def ordered(self, order: SortOrder, now: float) -> list[AirRow]:
        """The rows that the selection accepts: strongest, most recent or most frequent first, or by name."""
        return sorted(self.fitting(), key=lambda row: (*_place(row, order, now), row.identity))

    def _row(self, report: Report, key: int) -> AirRow:
        window = self._window
        sighting = Sighting(report.address, rssi=deque(maxlen=window), gaps=deque(maxlen=window))
        return AirRow(sighting, Pace(window), key)

    def _known_key(self, report: Report) -> int:
        """The number of the key that the address was made with. It costs a cipher a key, so the answer is kept."""
        if report.address_type == "public":
            return 0
        known = self._key_of.get(report.address)
        if known is None:
            if len(self._key_of) >= 4 * self._most:
                self._key_of.clear()
            fits = (number for number, key in enumerate(self._keys, 1) if self._resolves(key, report.address))
            known = self._key_of[report.address] = next(fits, 0)
        return known

    def _resolves(self, key: bytes, address: str) -> bool:
        # macOS has identifiers in place of addresses
        return ":" in address and self._resolve(key, address)


def _identity(key: int, address: str, address_type: str) -> str:
    """Public and random addresses of the same octets are two devices."""
    return f"key {key}" if key else f"{address} {address_type}"


def _place(row: AirRow, order: SortOrder, now: float) -> tuple[Any, ...]:
    if order == "name":
        name = row.sighting.name
        return not name, name.casefold()
    if order == "age":
        return (-row.sighting.last_at,)
    return (-(row.pace.rate(now) or 0.0),) if order == "rate" else (-row.sighting.strength,)


class HeardDevice(msgspec.Struct, omit_defaults=True):
    """A row as plain data."""

    address: str
    address_type: str
    address_kind: str
    advertising: AdvertisingSeen
    # median level in dBm; None when no report had one
    rssi: float | None
    count: int
    # seconds since the last report
    age: float
    # standard deviation of the levels in dB
    spread: float | None = None
    # reports a second
    rate: float | None = None
    key: int = 0
    addresses: list[str] = []
    # of the payload and the scan response, where the radio tells them: 'in', 'offset', 'type', 'name', 'value', 'raw',
    # and 'wrong' where something is
    fields: list[dict[str, Any]] = []


def described(row: AirRow, now: float, *, fields: bool = False) -> HeardDevice:
    """The row as it is now; with the fields of its payload where they are wanted."""
    sighting, spread, rate = row.sighting, row.spread, row.pace.rate(now)
    return HeardDevice(
        address=sighting.address,
        address_type=sighting.address_type,
        address_kind=row.address_kind,
        advertising=advertising_of(sighting),
        rssi=sighting.median_rssi,
        count=sighting.count,
        age=round(now - sighting.last_at, 3),
        spread=None if spread is None else round(spread, 2),
        rate=None if rate is None else round(rate, 3),
        key=row.key,
        addresses=[*row.addresses] if row.key else [],
        fields=_as_data(sighting) if fields else [],
    )


def payload_fields(sighting: Sighting) -> list[tuple[str, AdField]]:
    """The fields of what came over the air, each with 'advertising' or 'scan response'; none where the radio does not
    tell."""
    from benchrig.values.advertising import parse_payload

    parts = (("advertising", sighting.payload), ("scan response", sighting.scan_response))
    return [(where, each) for where, data in parts if data for each in parse_payload(data)]


def _as_data(sighting: Sighting) -> list[dict[str, Any]]:
    return [
        {"in": where, "offset": each.offset, "type": each.type, "name": each.name, "value": each.value,
         "raw": each.raw.hex().upper()} | ({"wrong": each.wrong} if each.wrong else {})
        for where, each in payload_fields(sighting)
    ]  # fmt: skip


def report_as_data(row: AirRow, report: Report) -> dict[str, Any]:
    """One report as JSON data; what it does not say is left out."""
    said: dict[str, Any] = {
        "address": report.address,
        "address_type": report.address_type,
        "key": row.key,
        "name": report.name or row.sighting.name,
        "rssi": report.rssi,
        "services": list(report.services),
        "manufacturer_data": {f"{company:04X}": hex_text(data) for company, data in report.manufacturer_data.items()},
        "service_data": {uuid: hex_text(data) for uuid, data in report.service_data.items()},
        "tx_power": report.tx_power,
        "payload": None if report.payload is None else hex_text(report.payload),
        "scan_response": None if report.scan_response is None else hex_text(report.scan_response),
    }
    return {key: value for key, value in said.items() if value not in (None, "", [], {}, 0) or key == "rssi"}


async def listen(desk: Desk, air: AirList, seconds: float, *, active: bool = True) -> None:
    """Let the list hear what comes within so many seconds."""
    async with desk.hearing(air.add, active=active):
        await asyncio.sleep(seconds)


async def reports(desk: Desk, air: AirList, *, active: bool = True) -> AsyncGenerator[tuple[AirRow, Report], None]:
    """Every report of the devices that are meant as it comes, without end, with the row that it belongs to."""
    waiting: asyncio.Queue[tuple[AirRow, Report]] = asyncio.Queue()

    def hear(report: Report) -> None:
        row = air.add(report)
        if air.selection.accepts(row.sighting):
            waiting.put_nowait((row, report))

    async with desk.blaming(), desk.radio.scanning(hear, active=active):
        while True:
            yield await waiting.get()
