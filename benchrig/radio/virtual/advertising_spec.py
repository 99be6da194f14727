"""The advertising part of a device file.

advertising:
  interval: 100 ms        20 ms to 10.24 s; each event comes up to 10 ms later, as the standard demands
  again_after: 500 ms     from the end of a link
  connectable: true
  scannable: true         default: when connectable, or when there is a scan response
  data:                   at most 31 octets
    flags: 0x06
    name: VFL-0042        complete; short_name for a shortened one
    services: [environmental sensing]
    tx_power: 4 dBm
    appearance: 0x0341
    manufacturer: {company: 0xFFFF, data: '0102'}
    service_data: {battery service: '55'}
    raw: '0201'           octets appended as they are, for data that are malformed on purpose
  scan_response: {…}      the same keys
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import msgspec

from benchrig.radio.bumble_stack.advertising import SHORT_NAME, Advertised, build, structures_of
from benchrig.radio.virtual.words import Hex, ServiceUuid
from benchrig.source.shape import Misfit
from benchrig.values.advertising import Structure
from benchrig.values.quantity import Duration, Level

MOST_OCTETS = 31
SHORTEST, LONGEST = 0.020, 10.24
GENERAL_DISCOVERABLE = 0x06
LONGEST_NAME = MOST_OCTETS - 3 - 2  # beside the flags


@dataclass(frozen=True)
class Advertisement:
    """What goes on air."""

    data: bytes  # at most 31 octets, and so is the next
    scan_response: bytes
    interval: float
    connectable: bool
    scannable: bool


class ManufacturerSpec(msgspec.Struct, kw_only=True, frozen=True):
    company: int
    data: Hex = Hex(b"")

    def misfits(self) -> Iterable[Misfit]:
        if not 0 <= self.company <= 0xFFFF:
            yield Misfit(f"a company identifier has 16 bits, found {self.company}", path=("company",))


class DataSpec(msgspec.Struct, kw_only=True, frozen=True):
    """One payload."""

    flags: int | None = None
    name: str | None = None
    short_name: str | None = None
    services: list[ServiceUuid] = []
    tx_power: Level | None = None
    appearance: int | None = None
    manufacturer: ManufacturerSpec | None = None
    service_data: dict[str, Hex] = {}
    raw: Hex = Hex(b"")

    def misfits(self) -> Iterable[Misfit]:
        if self.flags is not None and not 0 <= self.flags <= 0xFF:
            yield Misfit(f"the flags are one byte, found {self.flags}", path=("flags",))
        elif self.appearance is not None and not 0 <= self.appearance <= 0xFFFF:
            yield Misfit(f"an appearance has 16 bits, found {self.appearance}", path=("appearance",))
        elif self.tx_power is not None and not (self._tx_power() is not None):
            yield Misfit("a transmit power is a whole number from -127 to 127 dBm", path=("tx_power",))
        else:
            yield from self._payload_misfits()

    def _payload_misfits(self) -> Iterable[Misfit]:
        try:
            self.payload()
        except Misfit as misfit:
            yield misfit
        except ValueError as exc:
            yield Misfit(str(exc))

    def _tx_power(self) -> int | None:
        number = self.tx_power.number if self.tx_power else None
        whole = number is not None and number.denominator == 1 and -127 <= number <= 127
        return int(number) if number is not None and whole else None

    def payload(self) -> bytes:
        """The octets. Raises Misfit for an unknown service in the service data, ValueError for too much data."""
        said = Advertised(
            name=self.name,
            name_is_complete=True,
            flags=self.flags,
            tx_power=self._tx_power(),
            appearance=self.appearance,
            services=[str(uuid) for uuid in self.services],
            service_data={_service(name): bytes(data) for name, data in self.service_data.items()},
        )
        if self.manufacturer:
            said.manufacturer_data[self.manufacturer.company] = bytes(self.manufacturer.data)
        short = [] if self.short_name is None else [Structure(SHORT_NAME, self.short_name.encode())]
        return build(structures_of(said) + short) + self.raw


def _service(name: str) -> str:
    try:
        return str(ServiceUuid.from_source(name))
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice, ("service_data", name)) from misfit


class AdvertisingSpec(msgspec.Struct, kw_only=True, frozen=True):
    """How a device advertises."""

    interval: Duration = Duration.of(0.1)
    again_after: Duration = Duration.of(0)
    connectable: bool = True
    scannable: bool | None = None
    data: DataSpec | None = None
    scan_response: DataSpec | None = None

    def misfits(self) -> Iterable[Misfit]:
        if not SHORTEST <= self.interval.seconds <= LONGEST:
            yield Misfit(f"an advertising interval is 20 ms to 10.24 s, found {self.interval}", path=("interval",))
        for key, other, block in (("data", "scan_response", self.data), ("scan_response", "data", self.scan_response)):
            size = len(block.payload()) if block else 0
            if size > MOST_OCTETS:
                what = f"{size} bytes of {'advertising' if key == 'data' else 'scan response'} data"
                yield Misfit(f"{what}; at most {MOST_OCTETS} fit", f"shorten it, or move some to {other}", (key,))
        if self.again_after.seconds < 0:
            yield Misfit("a delay is not negative", path=("again_after",))
        if self.scannable is False and (self.connectable or self.scan_response):
            what = "a connectable device" if self.connectable else "one with a scan response"
            yield Misfit(f"{what} is scannable", "leave 'scannable' out", ("scannable",))

    @property
    def name(self) -> str | None:
        """The complete name that is advertised, if the file gives one."""
        return next((block.name for block in (self.data, self.scan_response) if block and block.name), None)

    @property
    def appearance(self) -> int | None:
        """The appearance that is advertised, if the file gives one."""
        given = (block.appearance for block in (self.data, self.scan_response) if block)
        return next((appearance for appearance in given if appearance is not None), None)

    def advertised(self, name: str) -> Advertisement:
        """With the device's name in the data when the file gives none."""
        data = self.data.payload() if self.data else default_payload(name)
        response = self.scan_response.payload() if self.scan_response else b""
        scannable = self.scannable if self.scannable is not None else self.connectable or bool(response)
        return Advertisement(data, response, self.interval.seconds, self.connectable, scannable)


def default_payload(name: str) -> bytes:
    """Flags and the name, shortened when it does not fit."""
    octets = name.encode()
    fits = len(octets) <= LONGEST_NAME
    shown = name if fits else octets[:LONGEST_NAME].decode(errors="ignore")
    return build(structures_of(Advertised(name=shown, name_is_complete=fits, flags=GENERAL_DISCOVERABLE)))
