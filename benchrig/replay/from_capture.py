"""The story that a capture tells of one unit: each request and its answer in their order, all that it sent, and when.

What the bench hears comes with a connection event. The unit had it ready within one interval before: half of it is taken
off, so that a twin sends it in the same event.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from benchrig.captures.hci import (
    ATT,
    AirEvent,
    Connected,
    Encrypted,
    Ended,
    Pdu,
    Updated,
)
from benchrig.radio.virtual.gatt_spec import CCCD
from benchrig.replay.discovery import Found
from benchrig.replay.listening import Listening
from benchrig.replay.pairing import Pairing
from benchrig.replay.story import Asked, Characteristic, Descriptor, Story, Unasked

TIMEOUT, NOT_ESTABLISHED = 0x08, 0x3E  # Core Vol 1 Part F 2
MIC_FAILURE = 0x3D
WANTS_SECURITY = {0x05: "encrypted", 0x0F: "encrypted", 0x0C: "encrypted"}
_DISCOVERIES = frozenset({0x04, 0x06, 0x08, 0x10})
# opcodes of requests and what answers them (Core Vol 3 Part F 3.4.8)
READ, READ_BLOB, WRITE, COMMAND, PREPARE, EXECUTE = 0x0A, 0x0C, 0x12, 0x52, 0x16, 0x18
NOTIFICATION, INDICATION, ERROR, MTU_RESPONSE = 0x1B, 0x1D, 0x01, 0x03
# An answer in the event after the request took the unit no time that anybody could see.
_AT_ONCE = 1.3


@dataclass
class _Link:
    interval: float
    timeout: float
    opened: Asked
    latest: Asked  # the latest request from which on a twin could count
    request: Pdu | None = None
    asked: Asked | None = None
    parts: dict[int, bytes] = field(default_factory=dict)  # of values that are written in parts


class Telling:
    """Takes the events in their order; `story` when they are all in. `names` are what people call UUIDs."""

    def __init__(self, address: str, name: str, names: Mapping[str, str], events: Iterable[AirEvent]) -> None:
        self.story = Story(name, address)
        self._events = list(events)
        self._listening = Listening(self._events, address)
        self._pairing = Pairing()
        self._took_to_discover: list[float] = []
        found = Found()
        self._links: dict[int, _Link] = {}
        self._discover(found)
        self.story.services = found.table(names)
        self._by_handle = {one.handle: one for one in self.story.characteristics}
        self._descriptors = {part.handle: (one, part) for one in self.story.characteristics for part in one.descriptors}

    # --- the table comes first: requests name handles

    def _discover(self, found: Found) -> None:
        """A later answer about a handle takes the place of an earlier one where the unit has another table then."""
        ours: dict[int, Pdu | None] = {}
        for event in self._events:
            if isinstance(event, Connected) and event.address == self.story.address:
                ours[event.handle] = None
            elif isinstance(event, Connected):
                ours.pop(event.handle, None)
            elif isinstance(event, Pdu) and event.handle in ours and event.channel == ATT and event.octets:
                self._discovery(event, ours, found)

    def _discovery(self, pdu: Pdu, ours: dict[int, Pdu | None], found: Found) -> None:
        request = ours[pdu.handle]
        if pdu.sent and pdu.octets[0] in _DISCOVERIES:
            ours[pdu.handle] = pdu
        elif not pdu.sent and request is not None and pdu.octets[0] != NOTIFICATION:
            ours[pdu.handle] = None
            try:
                found.take(request.octets, pdu.octets)
            except (struct.error, IndexError):
                self.story.lacks.append(f"an answer of the discovery at {pdu.at:.3f} s is malformed: it is left out")
            if pdu.octets[0] == ERROR and request.octets[0] == 0x04:
                found.searched.append(struct.unpack("<HH", request.octets[1:5]))

    # --- then what happened

    def tell(self) -> Story:
        for event in self._events:
            if isinstance(event, Connected):
                self._connected(event)
            elif isinstance(event, (Updated, Encrypted, Ended, Pdu)) and event.handle in self._links:
                self._on_link(self._links[event.handle], event)
        for link in self._links.values():
            self._unanswered(link)
        self._slow_down()
        self._listening.tell(self.story)
        self.story.security, self.story.faults = self._pairing.security, self._pairing.faults
        return self.story

    def _slow_down(self) -> None:
        """What every request took, a discovery too, is not put down to the attributes."""
        least = min(
            [
                *self._took_to_discover,
                *(one.after for one in self.story.asked if one.answered and one.kind != "connect"),
            ],
            default=0.0,
        )
        if not self._took_to_discover or least <= 0:
            return
        self.story.slow = least
        for asked in self.story.asked:
            asked.after = max(0.0, asked.after - least)

    def _connected(self, event: Connected) -> None:
        if event.status or event.address != self.story.address:
            return
        asked = Asked("connect", "", event.at, answered=True)
        self.story.asked.append(asked)
        self._links[event.handle] = _Link(event.interval, event.timeout, asked, asked)

    def _on_link(self, link: _Link, event: Updated | Encrypted | Ended | Pdu) -> None:
        match event:
            case Updated():
                link.interval, link.timeout = event.interval, event.timeout
            case Encrypted():
                self._pairing.encrypted(event.status)
            case Ended():
                self._ended(link, event)
            case Pdu(channel=4) if event.octets:
                (self._sent if event.sent else self._received)(link, event)
            case Pdu(channel=6) if event.octets:
                (self._pairing.sent if event.sent else self._pairing.received)(event.octets)

    def _ended(self, link: _Link, event: Ended) -> None:
        del self._links[event.handle]
        if event.reason == NOT_ESTABLISHED:
            self.story.refused += 1
            self.story.asked.remove(link.opened)
            return
        vanished = event.reason in (TIMEOUT, MIC_FAILURE)
        in_pairing = self._pairing.ended(by_unit=not event.by_bench and not vanished)
        self._unanswered(link)
        if in_pairing:
            return  # the twin ends it at the same PDU
        if event.by_bench:
            self._listening.ended_by_bench(event.at)
            return
        crash = event.at - link.timeout if vanished else event.at
        after = max(0.0, crash - link.latest.at) if vanished else self._since(link, event.at)
        back, known = self._listening.back_after(crash, event.at)
        link.latest.then.append(Unasked("vanishes" if vanished else "ends", after, back=back, back_known=known))

    def _unanswered(self, link: _Link) -> None:
        """What the bench still waited for."""
        if link.asked is not None:
            link.asked.answered = False
            link.request = link.asked = None

    def _since(self, link: _Link, at: float) -> float:
        """From the latest request until the unit had this ready."""
        return self._took(link, link.latest.at, at)

    def _took(self, link: _Link, asked_at: float, at: float) -> float:
        waited = at - asked_at
        return 0.0 if waited <= _AT_ONCE * link.interval else round(waited - link.interval / 2, 6)

    # --- requests

    def _sent(self, link: _Link, pdu: Pdu) -> None:
        opcode = pdu.octets[0]
        handle = struct.unpack_from("<H", pdu.octets, 1)[0] if len(pdu.octets) >= 3 else 0
        if opcode == READ:
            self._ask(link, pdu, self._read(handle, pdu))
        elif opcode in (WRITE, COMMAND):
            self._ask(link, pdu, self._write(handle, pdu.octets[3:], pdu))
        elif opcode == PREPARE:
            link.parts[handle] = link.parts.get(handle, b"") + pdu.octets[5:]
            link.request = pdu
        elif opcode == EXECUTE:
            self._execute(link, pdu)
        elif opcode == READ_BLOB or opcode in _DISCOVERIES:
            link.request = pdu

    def _execute(self, link: _Link, pdu: Pdu) -> None:
        parts, link.parts = link.parts, {}
        for handle, value in parts.items() if pdu.octets[1:2] == b"\x01" else ():
            self._ask(link, pdu, self._write(handle, value, pdu))

    def _ask(self, link: _Link, pdu: Pdu, asked: Asked | None) -> None:
        link.request, link.asked = pdu, asked
        if asked is None:
            return
        self.story.asked.append(asked)
        if pdu.octets[0] == COMMAND:
            asked.answered, link.request, link.asked = True, None, None
        if asked.counts and asked.kind != "subscribe":
            link.latest = asked

    def _read(self, handle: int, pdu: Pdu) -> Asked | None:
        one = self._by_handle.get(handle)
        if one is None:
            return None
        return Asked("read", one.key, pdu.arrived, counts="read" in one.properties)

    def _write(self, handle: int, value: bytes, pdu: Pdu) -> Asked | None:
        one = self._by_handle.get(handle)
        if one is not None:
            way = "write without response" if pdu.octets[0] == COMMAND else "write"
            return Asked("write", one.key, pdu.arrived, value, counts=way in one.properties)
        owner, descriptor = self._descriptors.get(handle, (None, None))
        if owner is None or descriptor is None:
            return None
        if descriptor.uuid == CCCD:
            wanted = int.from_bytes(value, "little") & 3
            return Asked("subscribe", owner.key, pdu.arrived, value) if wanted else None
        descriptor.writable = True
        return None

    # --- what came

    def _received(self, link: _Link, pdu: Pdu) -> None:
        opcode = pdu.octets[0]
        if opcode in (NOTIFICATION, INDICATION):
            self._updated(link, pdu)
        elif opcode == MTU_RESPONSE and len(pdu.octets) >= 3:
            self.story.mtu = struct.unpack_from("<H", pdu.octets, 1)[0]
        elif link.request is not None:
            self._answered(link, link.request, pdu)

    def _updated(self, link: _Link, pdu: Pdu) -> None:
        handle = struct.unpack_from("<H", pdu.octets, 1)[0] if len(pdu.octets) >= 3 else 0
        one = self._by_handle.get(handle)
        if one is None:
            self._lack(f"values of handle 0x{handle:04X}, which the table does not have")
            return
        link.latest.then.append(Unasked("sends", self._since(link, pdu.at), one.key, pdu.octets[3:]))

    def _answered(self, link: _Link, request: Pdu, pdu: Pdu) -> None:
        asked, link.request = link.asked, None
        if request.octets[0] == READ_BLOB:
            if pdu.octets[0] == READ_BLOB + 1:
                self._continue(request, pdu.octets[1:])
            return
        link.asked = None
        if request.octets[0] in _DISCOVERIES:
            self._took_to_discover.append(self._took(link, request.arrived, pdu.at))
        if request.octets[0] == READ and asked is None:
            self._descriptor_value(request, pdu)
        if asked is None:
            return
        asked.answered, asked.after = True, self._took(link, asked.at, pdu.at)
        if pdu.octets[0] == ERROR:
            self._refused(asked, pdu.octets[4] if len(pdu.octets) > 4 else 0)
        elif asked.kind == "read":
            asked.value = pdu.octets[1:]
        elif asked.kind == "subscribe":
            link.latest = asked

    def _continue(self, request: Pdu, part: bytes) -> None:
        """The next part of a long value."""
        handle = struct.unpack_from("<H", request.octets, 1)[0]
        one = self._by_handle.get(handle)
        asked = next((a for a in reversed(self.story.asked) if one and (a.kind, a.key) == ("read", one.key)), None)
        if asked is not None and asked.value is not None:
            asked.value += part
        elif handle in self._descriptors and (value := self._descriptors[handle][1].value) is not None:
            self._descriptors[handle][1].value = value + part

    def _descriptor_value(self, request: Pdu, pdu: Pdu) -> None:
        handle = struct.unpack_from("<H", request.octets, 1)[0]
        _, descriptor = self._descriptors.get(handle, (None, Descriptor("")))
        if descriptor.value is None and pdu.octets[0] == READ + 1:
            descriptor.value = pdu.octets[1:]

    def _refused(self, asked: Asked, code: int) -> None:
        asked.error = code
        if asked.kind != "subscribe":
            return
        asked.counts = False
        one = self._characteristic(asked.key)
        if code in WANTS_SECURITY:
            one.subscribe_needs = WANTS_SECURITY[code]
        else:
            self._lack(f"the refusal of a subscription to {one.key} (ATT error 0x{code:02X})")

    def _characteristic(self, key: str) -> Characteristic:
        return next(one for one in self.story.characteristics if one.key == key)

    def _lack(self, what: str) -> None:
        if what not in self.story.lacks:
            self.story.lacks.append(what)
