"""What was heard: advertising reports, gathered by device."""

from __future__ import annotations

import fnmatch
import heapq
import math
import re
import statistics
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from benchrig.radio.identity import was_made_with

K = TypeVar("K")
V = TypeVar("V")

# Reports of one advertising event (its scan response follows at once) count as one for the interval.
SAME_EVENT = 0.005
# A device that advertises every 20 ms for an hour must not fill the memory: the newest reports decide.
KEPT_REPORTS = 4096
# Nor must one that says something new in every report.
MOST_PARTS = 64
# Nor do addresses that change all the time.
MOST_DEVICES = 5000
_ADDRESS = re.compile(r"(?:[0-9A-Fa-f]{2}:){5}[0-9A-Fa-f]{2}|[0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}")


@dataclass(frozen=True)
class Report:
    """One advertising report. `at` in seconds of the loop's clock, `rssi` in dBm (None where it was not measured),
    UUIDs as 128-bit text, `address_type` 'public', 'random' or '' where the radio does not say; `payload` and
    `scan_response` as they came, and whether the device is connectable, and advertises to this bench
    alone (`directed`), where it tells them. A scan response that
    came late makes a second report, at the time of its event. `name_is_short` when there is more of the name.
    `repeats_hidden`: the system drops most reports, so the time between two says nothing. `remembered` says why name and
    services are not known: the system tells what it remembers of the device in their place. `identity` is the identity address
    of the device that has this address, where the radio is bonded with it."""

    at: float
    address: str
    address_type: str
    name: str | None
    rssi: float | None
    services: tuple[str, ...]
    manufacturer_data: dict[int, bytes]
    service_data: dict[str, bytes]
    tx_power: int | None
    payload: bytes | None = None
    scan_response: bytes | None = None
    connectable: bool | None = None
    directed: bool | None = None
    name_is_short: bool = False
    repeats_hidden: bool = False
    remembered: str = ""
    identity: str = ""
    device: Any = field(compare=False, repr=False, default=None)


@dataclass
class Sighting:
    """All that was heard of one device: the newest of each kind of data, known levels and times of every report."""

    address: str
    address_type: str = ""
    name: str = ""
    name_is_short: bool = True
    services: list[str] = field(default_factory=list)
    manufacturer_data: dict[int, bytes] = field(default_factory=dict)
    service_data: dict[str, bytes] = field(default_factory=dict)
    tx_power: int | None = None
    payload: bytes | None = None
    scan_response: bytes | None = None
    connectable: bool | None = None
    was_connectable: bool = False
    directed: set[bool] = field(default_factory=set)
    count: int = 0
    first_at: float = 0.0
    last_at: float = 0.0
    rssi: deque[float] = field(default_factory=lambda: deque(maxlen=KEPT_REPORTS))
    heard_at: deque[float] = field(default_factory=lambda: deque(maxlen=KEPT_REPORTS))
    gaps: deque[float] = field(default_factory=lambda: deque(maxlen=KEPT_REPORTS))
    remembered: str = ""
    identity: str = ""
    device: Any = field(default=None, repr=False)

    def add(self, report: Report) -> None:
        if self.count == 0 or report.at != self.last_at or not report.scan_response:
            self._count(report)
        self.device = report.device
        self.remembered = report.remembered
        self.identity = report.identity or self.identity
        self.address_type = report.address_type or self.address_type
        if report.name and (self.name_is_short or not report.name_is_short):
            self.name, self.name_is_short = report.name, report.name_is_short
        new = [uuid for uuid in report.services if uuid not in self.services]
        self.services += new[: MOST_PARTS - len(self.services)]
        _update(self.manufacturer_data, report.manufacturer_data)
        _update(self.service_data, report.service_data)
        self.tx_power = self.tx_power if report.tx_power is None else report.tx_power
        self.payload = self.payload if report.payload is None else report.payload
        self.scan_response = report.scan_response or self.scan_response
        self.connectable = self.connectable if report.connectable is None else report.connectable
        self.was_connectable = self.was_connectable or bool(report.connectable)
        self.directed |= set() if report.directed is None else {report.directed}

    def _count(self, report: Report) -> None:
        """An event that was not heard before."""
        if self.count == 0:
            self.first_at = report.at
        elif not report.repeats_hidden and report.at - self.last_at > SAME_EVENT:
            self.gaps.append(report.at - self.last_at)
        self.count += 1
        self.last_at = report.at
        if report.rssi is not None:
            self.rssi.append(report.rssi)
            self.heard_at.append(report.at)

    @property
    def levels(self) -> Iterator[tuple[float, float]]:
        """When each level was heard, and the level."""
        return zip(self.heard_at, self.rssi, strict=False)

    @property
    def takes_no_connections(self) -> bool:
        """Whether every report said so: a device may send others between those that can be answered."""
        return self.connectable is False and not self.was_connectable

    @property
    def median_rssi(self) -> float | None:
        """None when no report had a level."""
        return statistics.median(self.rssi) if self.rssi else None

    @property
    def strength(self) -> float:
        """The median level to compare by: what has none is weaker than anything."""
        return statistics.median(self.rssi) if self.rssi else -math.inf

    @property
    def level_text(self) -> str:
        """For people: '-56 dBm'."""
        return f"{self.median_rssi:g} dBm" if self.rssi else "level unknown"

    @property
    def interval(self) -> float | None:
        """Median gap between advertising events in seconds; None with fewer than two."""
        return round(statistics.median(self.gaps), 6) if self.gaps else None


def _update(kept: dict[K, bytes], news: Mapping[K, bytes]) -> None:
    for key, data in news.items():
        if key in kept or len(kept) < MOST_PARTS:
            kept[key] = data


@dataclass(frozen=True)
class Selection:
    """Which device is meant; every given part must fit. `name` is a pattern with * and ?, UUIDs as 128-bit text.
    `nearest` takes the strongest of several when it leads by so many dB (median RSSI). `key` is the identity resolving key
    (16 octets) with which the device makes its private addresses. `also` must fit as well; its `nearest` counts for
    nothing."""

    name: str | None = None
    services: tuple[str, ...] = ()
    manufacturer: int | None = None
    manufacturer_data: bytes = b""
    address: str | None = None
    rssi_min: float | None = None
    nearest: float | None = None
    key: bytes | None = None
    also: Selection | None = None

    def accepts(self, sighting: Sighting) -> bool:
        data = sighting.manufacturer_data
        return (
            (self.name is None or fnmatch.fnmatchcase(sighting.name, self.name))
            and all(uuid in sighting.services for uuid in self.services)
            and (self.manufacturer is None or data.get(self.manufacturer, b"").startswith(self.manufacturer_data))
            and (self.manufacturer is None or self.manufacturer in data)
            and (self.address is None or self.address.upper() in (sighting.address.upper(), sighting.identity))
            and (self.rssi_min is None or sighting.strength >= self.rssi_min)
            and (self.key is None or was_made_with(self.key, sighting.address))
            and (self.also is None or self.also.accepts(sighting))
        )

    def chosen(self, candidates: Sequence[Sighting]) -> Sighting | None:
        """The one that is meant of those that fit, strongest first; None when nothing decides between several."""
        if self.key is not None or _is_one(candidates):  # whatever its key has made is the same device
            return max(candidates, key=lambda sighting: sighting.last_at, default=None)
        if len(candidates) > 1 and not self._decides(candidates):
            return None
        return candidates[0] if candidates else None

    def _decides(self, candidates: Sequence[Sighting]) -> bool:
        leads_by = lead(candidates)
        return self.nearest is not None and leads_by is not None and leads_by >= self.nearest

    @property
    def at_any_level(self) -> Selection:
        """The same, with no demand on the level."""
        return replace(self, rssi_min=None, also=self.also and self.also.at_any_level)

    def may_accept(self, sighting: Sighting) -> bool:
        """Whether nothing that was heard speaks against it: what was not heard may come yet."""
        known = replace(
            self.at_any_level,
            name=None if sighting.name_is_short else self.name,
            services=(),
            manufacturer=self.manufacturer if sighting.manufacturer_data else None,
            also=None,
        )
        return known.accepts(sighting) and (self.also is None or self.also.may_accept(sighting))

    def lacking(self, sighting: Sighting) -> list[str]:
        """What keeps a device from fitting that has the name, in words."""
        parts = {
            "services": Selection(services=self.services),
            "manufacturer data": Selection(manufacturer=self.manufacturer, manufacturer_data=self.manufacturer_data),
            "address": Selection(address=self.address),
            "level": Selection(rssi_min=self.rssi_min),
        }
        return [word for word, part in parts.items() if not part.accepts(sighting)]

    @property
    def means_one(self) -> bool:
        """Whether only one device can ever fit."""
        return self.key is not None or bool(self.addresses)

    @property
    def addresses(self) -> list[str]:
        """The addresses that it must have."""
        return ([self.address] if self.address is not None else []) + (self.also.addresses if self.also else [])

    @property
    def names(self) -> list[str]:
        """The patterns that the name must fit."""
        return ([self.name] if self.name is not None else []) + (self.also.names if self.also else [])


def _is_one(candidates: Sequence[Sighting]) -> bool:
    """Whether all are addresses of one device that the radio is bonded with."""
    return len({sighting.identity for sighting in candidates}) == 1 and bool(candidates[0].identity)


def lead(candidates: Sequence[Sighting]) -> float | None:
    """By how many dB the strongest of several leads; None when one has no known level: it may be the nearest."""
    if not all(candidate.rssi for candidate in candidates):
        return None
    return candidates[0].strength - candidates[1].strength


def of_device(text: str) -> Selection:
    """The device with this address, or with a name that fits this pattern."""
    return Selection(address=text) if is_address(text) else Selection(name=text)


def is_address(text: str) -> bool:
    """Whether a text is a device address, or the identifier that macOS gives in its place."""
    return bool(_ADDRESS.fullmatch(text))


def make_room(heard: dict[K, V], most: int, rank: Callable[[V], tuple[bool, float]]) -> None:
    """Forget a tenth of `most`: those of the lowest rank, which says whether one is meant, and when it was heard last."""
    for _, key in heapq.nsmallest(max(1, most // 10), ((rank(each), key) for key, each in heard.items())):
        del heard[key]


class Ear:
    """Gathers reports into sightings, by address and its type: two devices may have the same octets. Of more than `most`
    those unheard for longest give way, the ones that `is_meant` says yes to after all others."""

    def __init__(self, is_meant: Callable[[Sighting], bool] | None = None, most: int = MOST_DEVICES) -> None:
        self.heard: dict[tuple[str, str], Sighting] = {}
        self._is_meant = is_meant or (lambda sighting: False)
        self._most = most

    def add(self, report: Report) -> Sighting:
        key = report.address, report.address_type
        sighting = self.heard.get(key)
        if sighting is None:
            if len(self.heard) >= self._most:
                make_room(self.heard, self._most, lambda each: (self._is_meant(each), each.last_at))
            sighting = self.heard[key] = Sighting(report.address)
        sighting.add(report)
        return sighting

    def without(self, leaves: Callable[[Sighting], bool]) -> Ear:
        """The same, but for the sightings that this says yes to."""
        other = Ear(self._is_meant, self._most)
        other.heard = {key: sighting for key, sighting in self.heard.items() if not leaves(sighting)}
        return other

    def selected(self, selection: Selection) -> list[Sighting]:
        """The sightings that fit, strongest first."""
        fitting = [sighting for sighting in self.heard.values() if selection.accepts(sighting)]
        return sorted(fitting, key=lambda s: (-s.strength, s.address))
