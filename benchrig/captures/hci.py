"""HCI packets → what happened on the air, as the host of the bench was told.

Core Vol 4 Part E: 5.4 packets, 7.1 and 7.8 commands, 7.7 events. L2CAP frames are put together from their fragments
(Core Vol 3 Part A 7.2.1). What does not have the length that it should have is left out and counted.
"""

from __future__ import annotations

import struct
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TypeAlias

from benchrig.captures.btsnoop import Packet

ATT, SMP = 0x0004, 0x0006
# Kinds of legacy advertising reports (7.7.65.2).
CONNECTABLE, SCANNABLE, RESPONSE = frozenset({0, 1}), frozenset({0, 2}), 4
NO_LEVEL = 127
_ADDRESS_TYPES = ("public", "random")


@dataclass(frozen=True, slots=True)
class Heard:
    """An advertising report."""

    at: float
    address: str
    address_type: str
    data: bytes
    level: int | None
    connectable: bool = False
    scannable: bool = False
    response: bool = False  # to a scan request


@dataclass(frozen=True, slots=True)
class Scanning:
    at: float
    on: bool


@dataclass(frozen=True, slots=True)
class Connecting:
    """The bench asks for a link."""

    at: float
    address: str


@dataclass(frozen=True, slots=True)
class Connected:
    at: float
    handle: int
    address: str
    interval: float
    timeout: float
    status: int = 0


@dataclass(frozen=True, slots=True)
class Updated:
    """A link has other parameters now."""

    at: float
    handle: int
    interval: float
    timeout: float


@dataclass(frozen=True, slots=True)
class Encrypted:
    at: float
    handle: int
    status: int


@dataclass(frozen=True, slots=True)
class Ended:
    at: float
    handle: int
    reason: int
    by_bench: bool


@dataclass(slots=True)
class Pdu:
    """One whole L2CAP frame. `arrived`: when the controller of the other side had it; unknown of what a capture does not tell."""

    at: float
    handle: int
    channel: int
    octets: bytes
    sent: bool
    arrived: float


AirEvent: TypeAlias = Heard | Scanning | Connecting | Connected | Updated | Encrypted | Ended | Pdu


@dataclass
class Traffic:
    """All of it in its order; `malformed` packets are not among them."""

    events: list[AirEvent] = field(default_factory=list)
    malformed: int = 0


def traffic_of(packets: Iterable[Packet]) -> Traffic:
    """Of the adapter that has most of the packets."""
    packets = list(packets)
    counts: dict[int, int] = {}
    for packet in packets:
        counts[packet.adapter] = counts.get(packet.adapter, 0) + 1
    busiest = max(counts, key=lambda adapter: counts[adapter], default=0)
    reading = _Reading()
    for packet in packets:
        if packet.adapter == busiest:
            reading.take(packet)
    return reading.traffic


@dataclass
class _Fragments:
    """Of one direction of a link."""

    octets: bytearray = field(default_factory=bytearray)
    begins: float = 0.0


class _Reading:
    def __init__(self) -> None:
        self.traffic = Traffic()
        self._coming: dict[tuple[int, bool], _Fragments] = {}
        # of each link what the controller has not told as completed: the PDU that a packet ends, if it does
        self._under_way: dict[int, deque[Pdu | None]] = {}
        self._ended_here: set[int] = set()

    def take(self, packet: Packet) -> None:
        take: Callable[[Packet], None] = {"command": self._command, "event": self._event, "data": self._data}[
            packet.kind
        ]
        try:
            take(packet)
        except (struct.error, IndexError):
            self.traffic.malformed += 1

    def _tell(self, event: AirEvent) -> None:
        self.traffic.events.append(event)

    # --- commands

    def _command(self, packet: Packet) -> None:
        (opcode,) = struct.unpack_from("<H", packet.octets)
        body = packet.octets[3:]
        if opcode in (0x200C, 0x2042):
            self._tell(Scanning(packet.at, bool(body[0])))
        elif opcode == 0x200D:
            self._tell(Connecting(packet.at, _address(body, 6)))
        elif opcode == 0x2043:
            self._tell(Connecting(packet.at, _address(body, 3)))
        elif opcode == 0x0406:
            self._ended_here.add(struct.unpack_from("<H", body)[0])

    # --- events

    def _event(self, packet: Packet) -> None:
        code, body = packet.octets[0], packet.octets[2:]
        if code == 0x05:
            self._ended(packet.at, *struct.unpack_from("<BHB", body))
        elif code in (0x08, 0x59):
            status, handle = struct.unpack_from("<BH", body)
            self._tell(Encrypted(packet.at, handle, status))
        elif code == 0x13:
            self._completed(packet.at, body)
        elif code == 0x3E:
            self._le_event(packet.at, body[0], body[1:])

    def _ended(self, at: float, status: int, handle: int, reason: int) -> None:
        if status:
            return
        self._tell(Ended(at, handle, reason, handle in self._ended_here))
        self._ended_here.discard(handle)
        self._under_way.pop(handle, None)
        for sent in (True, False):
            self._coming.pop((handle, sent), None)

    def _completed(self, at: float, body: bytes) -> None:
        for index in range(body[0]):
            handle, count = struct.unpack_from("<HH", body, 1 + 4 * index)
            waiting = self._under_way.get(handle, deque())
            for _ in range(min(count, len(waiting))):
                if (pdu := waiting.popleft()) is not None:
                    pdu.arrived = at

    def _le_event(self, at: float, code: int, body: bytes) -> None:
        if code in (0x01, 0x0A, 0x29):
            self._connected(at, code, body)
        elif code == 0x02:
            self._reports(at, body)
        elif code == 0x0D:
            self._extended_reports(at, body)
        elif code == 0x03:
            status, handle, interval, _, timeout = struct.unpack_from("<BHHHH", body)
            if not status:
                self._tell(Updated(at, handle, interval * 1.25e-3, timeout * 1e-2))

    def _connected(self, at: float, code: int, body: bytes) -> None:
        status, handle, _ = struct.unpack_from("<BHB", body)
        parameters = 11 if code == 0x01 else 23
        interval, _, timeout = struct.unpack_from("<HHH", body, parameters)
        self._tell(Connected(at, handle, _address(body, 5), interval * 1.25e-3, timeout * 1e-2, status))

    def _reports(self, at: float, body: bytes) -> None:
        offset = 1
        for _ in range(body[0]):
            kind, address_type, size = body[offset], body[offset + 1], body[offset + 8]
            data, level = body[offset + 9 : offset + 9 + size], body[offset + 9 + size]
            said = kind in CONNECTABLE, kind in SCANNABLE, kind == RESPONSE
            address = _address(body, offset + 2)
            self._tell(Heard(at, address, _ADDRESS_TYPES[address_type & 1], data, _level(level), *said))
            offset += 10 + size

    def _extended_reports(self, at: float, body: bytes) -> None:
        offset = 1
        for _ in range(body[0]):
            (kind,) = struct.unpack_from("<H", body, offset)
            address_type, level, size = body[offset + 2], body[offset + 13], body[offset + 23]
            data = body[offset + 24 : offset + 24 + size]
            address = _address(body, offset + 3)
            said = [bool(kind & bit) for bit in (1, 2, 8)]
            self._tell(Heard(at, address, _ADDRESS_TYPES[address_type & 1], data, _level(level), *said))
            offset += 24 + size

    # --- data

    def _data(self, packet: Packet) -> None:
        word, size = struct.unpack_from("<HH", packet.octets)
        handle, begins = word & 0x0FFF, (word >> 12) & 0b11 != 1
        coming = self._coming.setdefault((handle, packet.sent), _Fragments())
        if begins:
            coming.octets.clear()
            coming.begins = packet.at
        elif not coming.octets:
            raise IndexError  # the beginning is not in the capture
        coming.octets += packet.octets[4 : 4 + size]
        pdu = self._whole(handle, packet, coming)
        if pdu:
            self._tell(pdu)
        if packet.sent:
            self._under_way.setdefault(handle, deque()).append(pdu)

    def _whole(self, handle: int, packet: Packet, coming: _Fragments) -> Pdu | None:
        if len(coming.octets) < 4:
            return None
        length, channel = struct.unpack_from("<HH", coming.octets)
        if len(coming.octets) < 4 + length:
            return None
        octets = bytes(coming.octets[4 : 4 + length])
        coming.octets.clear()
        return Pdu(coming.begins if packet.sent else packet.at, handle, channel, octets, packet.sent, packet.at)


def _address(body: bytes, offset: int) -> str:
    octets = body[offset : offset + 6]
    if len(octets) < 6:
        raise IndexError
    return octets[::-1].hex(":").upper()


def _level(octet: int) -> int | None:
    level = octet - 256 if octet > 127 else octet
    return None if level == NO_LEVEL else level
