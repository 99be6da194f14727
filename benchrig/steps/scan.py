"""scan: listen for the unit, and judge what it advertises."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, ClassVar, Literal

import msgspec

from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names, by_number, say_services
from benchrig.steps.base import NOTHING, Cap, ReadingType, Step
from benchrig.values.limit import Limit
from benchrig.values.quantity import Duration

if TYPE_CHECKING:
    from benchrig.radio.scan import Sighting
    from benchrig.steps.bench import Bench


# An interval lies between two advertising events, and the first of them comes within one.
_EVENTS = 2
# What lies between two attempts at most, in seconds.
BETWEEN = 1.0


class Scan(Step, kw_only=True):
    """Listen for `for`, and on until the selected unit is heard or `within` is over. Once a unit was found it is that
    one that is listened for, unless a `swap` of the unit is meant."""

    verb: ClassVar[str] = "scan"
    within_default: ClassVar[float] = 10.0
    needs: ClassVar[frozenset[Cap]] = NOTHING
    gives: ClassVar[frozenset[Cap]] = frozenset({Cap.UNIT})

    scan: None
    for_: Duration = msgspec.field(name="for", default_factory=lambda: Duration.of(2))
    mode: Literal["active", "passive"] = "active"
    swap: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.expect, dict) and "services" in self.expect:
            self.expect = self.expect | {"services": by_number(self.expect["services"])}

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        listen = self.for_.seconds
        yield from self._time_misfits()
        high = self._longest_interval()
        if high is not None and listen < _EVENTS * high:
            message = f"{self.for_} is too short to measure an interval of {high:g} s"
            yield Misfit(message, f"write for: {_EVENTS * high:g} s or more", ("for",))

    def _time_misfits(self) -> Iterable[Misfit]:
        if self.within is None:
            return
        listen, times = self.for_.seconds, self.attempts
        least = listen if times == 1 else (listen + BETWEEN) * times
        if self.within.seconds < least:
            often = "" if times == 1 else f", {times} times,"
            advice = f"write within: {least:g} s or more, or leave it out"
            yield Misfit(
                f"within {self.within} ends before the {self.for_} of for{often} are over", advice, ("within",)
            )

    def _longest_interval(self) -> float | None:
        """The longest interval that passes; None where no limit says so."""
        limit = self.expect.get("interval")
        try:
            high = limit.bind("number", "s").high if isinstance(limit, Limit) else None
        except Misfit:  # told where the limits are checked
            return None
        return None if high is None else float(high)

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        for name in ("services", "service_data"):
            say_services(names, self.limits.get(name), ("expect", name))
        return READINGS

    @property
    def deadline(self) -> float:
        return self.within.seconds if self.within else (self.for_.seconds + self.within_default) * self.attempts

    async def run(self, bench: Bench) -> None:
        started = bench.now()
        unit = await bench.find(self.for_.seconds, active=self.mode == "active", swap=self.swap)
        if bench.wanted("found_after"):
            bench.reading("found_after", round(unit.first_at - started, 6), "s")
        report_sighting(bench, unit)


def _no_address_type(word: str) -> tuple[str, str] | None:
    known = ("public", "random")
    return None if word in known else (f"an address type is never '{word}'", suggest(word, known))


READINGS: dict[str, ReadingType] = {
    "found_after": ReadingType("number", "s", "from the start of the scan to the first report of the unit"),
    "count": ReadingType("number", "", "advertising events of the unit"),
    "rssi": ReadingType("number", "dBm", "median received level"),
    "interval": ReadingType("number", "s", "median gap between advertising events"),
    "name": ReadingType("text", "", "local name"),
    "services": ReadingType("list", "", "advertised services by name", uuids=True),
    "manufacturer_data": ReadingType("bytes", "", "company identifier (little-endian) and data"),
    "service_data": ReadingType("list", "", "service names with their data, 'name=HEX'"),
    "tx_power": ReadingType("number", "dBm", "advertised transmit power"),
    "address_type": ReadingType("text", "", "'public' or 'random'", wrong=_no_address_type),
    "address": ReadingType("text", "", "device address as the radio gives it"),
}


def report_sighting(bench: Bench, unit: Sighting) -> None:
    """The readings of what the unit advertised."""
    if unit.median_rssi is None:
        bench.not_measured("rssi", "the radio reported no RSSI of the unit")
    bench.reading("rssi", unit.median_rssi, "dBm")
    for name, value, unit_symbol in (
        ("count", unit.count, ""),
        ("interval", unit.interval, "s"),
        ("name", unit.name or None, ""),
        ("services", [bench.names.label(uuid, "service") for uuid in unit.services], ""),
        ("service_data", _service_data(bench.names, unit), ""),
        ("tx_power", unit.tx_power, "dBm"),
        ("address_type", unit.address_type or None, ""),
        ("address", unit.address, ""),
    ):
        if bench.wanted(name):
            bench.reading(name, value, unit_symbol)
    if bench.wanted("manufacturer_data"):
        data = b"".join(company.to_bytes(2, "little") + rest for company, rest in unit.manufacturer_data.items())
        bench.reading("manufacturer_data", data or None, raw=data)


def _service_data(names: Names, unit: Sighting) -> list[str]:
    return [f"{names.label(uuid, 'service')}={data.hex().upper()}" for uuid, data in unit.service_data.items()]
