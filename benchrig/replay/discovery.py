"""The attribute table of a unit, from the answers that a discovery got (Core Vol 3 Part G 4.4 to 4.7)."""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from benchrig.radio.virtual.gatt_spec import CCCD, PROPERTIES, UPDATES
from benchrig.replay.story import Characteristic, Descriptor, Service
from benchrig.values.catalogue import name_of, normal_uuid

PRIMARY, DECLARATION = 0x2800, 0x2803
_BASE = normal_uuid("0000")[8:]


def uuid_text(octets: bytes) -> str:
    """From its octets on the air, the least significant first."""
    if len(octets) == 2:
        return f"{int.from_bytes(octets, 'little'):08x}{_BASE}"
    text = octets[::-1].hex()
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


@dataclass
class Found:
    """What was told of a table so far, by handle."""

    services: dict[int, tuple[int, str]] = field(default_factory=dict)
    declarations: dict[int, tuple[int, int, str]] = field(default_factory=dict)
    descriptors: dict[int, str] = field(default_factory=dict)
    searched: list[tuple[int, int]] = field(default_factory=list)

    def take(self, request: bytes, response: bytes) -> None:
        """An answer of the device to a request of discovery."""
        opcode = response[0]
        if opcode == 0x11 and request[5:] == struct.pack("<H", PRIMARY):
            self.services |= {handle: _group(rest) for handle, rest in _list(response)}
        elif opcode == 0x09 and request[5:] == struct.pack("<H", DECLARATION):
            for handle, rest in _list(response):
                self.declarations[handle] = (rest[0], struct.unpack("<H", rest[1:3])[0], uuid_text(rest[3:]))
        elif opcode == 0x05:
            size = 4 if response[1] == 1 else 18
            for part in _parts(response[2:], size):
                self.descriptors[struct.unpack("<H", part[:2])[0]] = uuid_text(part[2:])
        if request[0] == 0x04:
            self.searched.append(struct.unpack("<HH", request[1:5]))

    def table(self, names: Mapping[str, str]) -> list[Service]:
        """`names`: what people call the UUIDs."""
        called = _Names(names)
        table = [Service(uuid, [], handle, end) for handle, (end, uuid) in sorted(self.services.items())]
        for service in table:
            declared = [handle for handle in sorted(self.declarations) if service.handle < handle <= service.end]
            ends = [handle - 1 for handle in declared[1:]] + [service.end]
            service.characteristics = [
                self._one(handle, end, called) for handle, end in zip(declared, ends, strict=False)
            ]
        return table

    def _one(self, declaration: int, end: int, called: _Names) -> Characteristic:
        bits, handle, uuid = self.declarations[declaration]
        properties = [name for name, bit in PROPERTIES.items() if bits & bit]
        found = [Descriptor(self.descriptors[at], at) for at in range(handle + 1, end + 1) if at in self.descriptors]
        looked = end == handle or any(first <= end and last > handle for first, last in self.searched)
        has_cccd = any(one.uuid == CCCD for one in found) if looked and bits & UPDATES else None
        return Characteristic(called.new(uuid), uuid, properties, handle, found, has_cccd)


class _Names:
    """Gives each characteristic a name that no other one has."""

    def __init__(self, names: Mapping[str, str]) -> None:
        self._names, self._taken = names, Counter[str]()

    def new(self, uuid: str) -> str:
        name = self._names.get(uuid) or name_of(uuid, "characteristic") or uuid
        self._taken[name] += 1
        return name if self._taken[name] == 1 else f"{name} ({self._taken[name]})"


def _list(response: bytes) -> Iterator[tuple[int, bytes]]:
    """Each entry: its handle, and what is behind it."""
    for part in _parts(response[2:], response[1]):
        yield struct.unpack("<H", part[:2])[0], part[2:]


def _parts(octets: bytes, size: int) -> Iterator[bytes]:
    if size < 3:
        return
    for start in range(0, len(octets) - size + 1, size):
        yield octets[start : start + size]


def _group(rest: bytes) -> tuple[int, str]:
    """Where a service ends, and its UUID."""
    return struct.unpack("<H", rest[:2])[0], uuid_text(rest[2:])
