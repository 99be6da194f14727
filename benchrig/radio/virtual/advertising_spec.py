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
    manufacturer: {company: 0xFFFF, data: '0102'}    and what changes, see changing_data
    service_data: {battery service: '55'}
    raw: '0201'           octets appended as they are, for data that are malformed on purpose
  scan_response: {…}      the same keys
  directed: {…}           and whose requests are answered, see directing_spec
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import msgspec

from benchrig.radio.bumble_stack.advertising import SHORT_NAME, Advertised, build, structures_of
from benchrig.radio.virtual.changing_data import CounterSpec, Filling, Zeros
from benchrig.radio.virtual.directing_spec import ANYONE, Answers, DirectedSpec
from benchrig.radio.virtual.words import Hex, ServiceUuid
from benchrig.source.shape import Misfit
from benchrig.values.advertising import Structure
from benchrig.values.quantity import Duration, Level

MOST_OCTETS = 31
SHORTEST, LONGEST = 0.020, 10.24
GENERAL_DISCOVERABLE = 0x06
LONGEST_NAME = MOST_OCTETS - 3 - 2  # beside the flags
ZEROS = Zeros()


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
    fresh: int = 0
    counter: CounterSpec | None = None

    def misfits(self) -> Iterable[Misfit]:
        if not 0 <= self.company <= 0xFFFF:
            yield Misfit(f"a company identifier has 16 bits, found {self.company}", path=("company",))
        if not 0 <= self.fresh <= MOST_OCTETS:
            yield Misfit(f"at most {MOST_OCTETS} bytes fit, found {self.fresh}", path=("fresh",))

    def octets(self, filling: Filling) -> bytes:
        return self.data + filling.fresh(self.fresh) + (filling.count(self.counter) if self.counter else b"")


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

    def payload(self, filling: Filling = ZEROS) -> bytes:
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
            said.manufacturer_data[self.manufacturer.company] = self.manufacturer.octets(filling)
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
    directed: DirectedSpec | None = None
    connections: Answers = ANYONE
    scan_requests: Answers = ANYONE

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
        yield from self._bonded_misfits()
        if self.scannable is False and (self.connectable or self.scan_response):
            what = "a connectable device" if self.connectable else "one with a scan response"
            yield Misfit(f"{what} is scannable", "leave 'scannable' out", ("scannable",))

    def _bonded_misfits(self) -> Iterable[Misfit]:
        """Where there is no connection that it could be about."""
        for key in self.of_bonds if not self.connectable else ():
            yield Misfit("a device that takes no connections has no bonds", f"take {key} out", (key,))

    @property
    def of_bonds(self) -> list[str]:
        """The keys that only matter to a device with bonds."""
        told = {"directed": self.directed, "connections": self.connections, "scan_requests": self.scan_requests}
        return [key for key, value in told.items() if value not in (None, ANYONE)]

    @property
    def counters(self) -> Iterator[CounterSpec]:
        for block in (self.data, self.scan_response):
            if block and block.manufacturer and block.manufacturer.counter:
                yield block.manufacturer.counter

    @property
    def changes(self) -> bool:
        """Whether its data do not stay as they are."""
        blocks = [block.manufacturer for block in (self.data, self.scan_response) if block and block.manufacturer]
        return any(block.fresh or block.counter for block in blocks)

    @property
    def name(self) -> str | None:
        """The complete name that is advertised, if the file gives one."""
        return next((block.name for block in (self.data, self.scan_response) if block and block.name), None)

    @property
    def tells_name(self) -> bool:
        """Whether the file gives a name, whole or shortened."""
        blocks = (self.data, self.scan_response)
        return any(block.name is not None or block.short_name is not None for block in blocks if block)

    @property
    def appearance(self) -> int | None:
        """The appearance that is advertised, if the file gives one."""
        given = (block.appearance for block in (self.data, self.scan_response) if block)
        return next((appearance for appearance in given if appearance is not None), None)

    def payloads(self, name: str, filling: Filling = ZEROS) -> tuple[bytes, bytes]:
        """Data and scan response, with the device's name in the data when the file gives none."""
        data = self.data.payload(filling) if self.data else default_payload(name)
        return data, self.scan_response.payload(filling) if self.scan_response else b""

    def advertised(self, name: str) -> Advertisement:
        data, response = self.payloads(name)
        scannable = self.scannable if self.scannable is not None else self.connectable or bool(response)
        return Advertisement(data, response, self.interval.seconds, self.connectable, scannable)


def default_payload(name: str) -> bytes:
    """Flags and the name, shortened when it does not fit."""
    octets = name.encode()
    fits = len(octets) <= LONGEST_NAME
    shown = name if fits else octets[:LONGEST_NAME].decode(errors="ignore")
    return build(structures_of(Advertised(name=shown, name_is_complete=fits, flags=GENERAL_DISCOVERABLE)))
