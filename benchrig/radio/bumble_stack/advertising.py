"""What a scanner takes from advertising data, and how they are built.

`benchrig.values.advertising` reads a payload field by field, for people; this reads thousands in a second. A structure
that runs past the end is dropped, and so is one whose data do not fit its type. (Core Specification Supplement,
Part A; types from the Bluetooth SIG's assigned numbers.)
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.values.advertising import Structure, split, uuid_text

if TYPE_CHECKING:
    from collections.abc import Iterator

FLAGS = 0x01
SERVICES_16, SERVICES_32, SERVICES_128 = 0x03, 0x05, 0x07
SHORT_NAME, COMPLETE_NAME = 0x08, 0x09
TX_POWER = 0x0A
SERVICE_DATA_16, SERVICE_DATA_32, SERVICE_DATA_128 = 0x16, 0x20, 0x21
APPEARANCE = 0x19
MANUFACTURER_DATA = 0xFF

_BASE_UUID = "-0000-1000-8000-00805f9b34fb"
# type: octets of one UUID; the incomplete list of each size comes right before the complete one.
_SERVICE_LISTS = {0x02: 2, 0x03: 2, 0x04: 4, 0x05: 4, 0x06: 16, 0x07: 16}
_SERVICE_DATA = {SERVICE_DATA_16: 2, SERVICE_DATA_32: 4, SERVICE_DATA_128: 16}


@dataclass
class Advertised:
    """What a payload says. Lists keep the order on air; UUIDs are 128-bit lower-case text."""

    name: str | None = None
    name_is_complete: bool = False
    flags: int | None = None
    tx_power: int | None = None
    appearance: int | None = None
    services: list[str] = field(default_factory=list)
    manufacturer_data: dict[int, bytes] = field(default_factory=dict)
    service_data: dict[str, bytes] = field(default_factory=dict)


def parse(*payloads: bytes) -> Advertised:
    """Read one payload, or the advertising data and the scan response of one event as one. Never raises."""
    result = Advertised()
    for payload in payloads:
        for kind, data in split(payload).structures:
            _add(result, kind, data)
    return result


def _add(result: Advertised, kind: int, data: bytes) -> None:
    if size := _SERVICE_LISTS.get(kind):
        result.services += [uuid for uuid in _uuids(data, size) if uuid not in result.services]
    elif size := _SERVICE_DATA.get(kind):
        if len(data) >= size:
            result.service_data[uuid_text(data[:size])] = data[size:]
    elif kind == MANUFACTURER_DATA:
        if len(data) >= 2:
            result.manufacturer_data[int.from_bytes(data[:2], "little")] = data[2:]
    elif kind in (SHORT_NAME, COMPLETE_NAME):
        if not result.name_is_complete:
            result.name = data.decode("utf-8", "replace")
            result.name_is_complete = kind == COMPLETE_NAME
    else:
        _add_number(result, kind, data)


def _add_number(result: Advertised, kind: int, data: bytes) -> None:
    if kind == FLAGS and data:
        result.flags = data[0]
    elif kind == TX_POWER and len(data) == 1:
        result.tx_power = int.from_bytes(data, "little", signed=True)
    elif kind == APPEARANCE and len(data) == 2:
        result.appearance = int.from_bytes(data, "little")


def _uuids(data: bytes, size: int) -> Iterator[str]:
    """The UUIDs of a list; none of a list that does not divide."""
    if len(data) % size == 0:
        for at in range(0, len(data), size):
            yield uuid_text(data[at : at + size])


def uuid_octets(uuid: str) -> bytes:
    """128-bit text as octets in air order, 2 or 4 of them where the UUID is a short one."""
    digits = uuid.replace("-", "")
    if uuid.endswith(_BASE_UUID):
        digits = digits[4:8] if digits.startswith("0000") else digits[:8]
    return bytes.fromhex(digits)[::-1]


def build(structures: list[Structure]) -> bytes:
    """The payload of the structures. ValueError when one is longer than a length octet can say."""
    for structure in structures:
        if len(structure.data) > 254:
            raise ValueError(f"{len(structure.data)} bytes in one structure; 254 is the most")
    return b"".join(bytes((len(data) + 1, kind)) + data for kind, data in structures)


def structures_of(advertised: Advertised) -> list[Structure]:
    """The structures that say what `advertised` says, in the usual order."""
    made: list[Structure] = []
    if advertised.flags is not None:
        made.append(Structure(FLAGS, bytes((advertised.flags,))))
    for size, kind in ((2, SERVICES_16), (4, SERVICES_32), (16, SERVICES_128)):
        octets = [o for o in map(uuid_octets, advertised.services) if len(o) == size]
        if octets:
            made.append(Structure(kind, b"".join(octets)))
    if advertised.name is not None:
        kind = COMPLETE_NAME if advertised.name_is_complete else SHORT_NAME
        made.append(Structure(kind, advertised.name.encode()))
    if advertised.tx_power is not None:
        made.append(Structure(TX_POWER, advertised.tx_power.to_bytes(1, "little", signed=True)))
    if advertised.appearance is not None:
        made.append(Structure(APPEARANCE, advertised.appearance.to_bytes(2, "little")))
    for uuid, data in advertised.service_data.items():
        octets_ = uuid_octets(uuid)
        kind = {2: SERVICE_DATA_16, 4: SERVICE_DATA_32, 16: SERVICE_DATA_128}[len(octets_)]
        made.append(Structure(kind, octets_ + data))
    for company, data in advertised.manufacturer_data.items():
        made.append(Structure(MANUFACTURER_DATA, company.to_bytes(2, "little") + data))
    return made
