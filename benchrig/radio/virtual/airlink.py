"""One connection on the air: connection events, a queue in order for each direction, supervision.

Times on air: Core Vol 6 Part B, with 150 µs between packets. A packet that does not fit into what is left of a
connection event waits for the next one, and so does one that is lost.
"""

from __future__ import annotations

import asyncio
import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from bumble import hci, ll
from bumble.controller import Connection, Controller
from bumble.core import PhysicalTransport

from benchrig.radio.virtual.faults import DROPPED, AirPdu

if TYPE_CHECKING:
    from benchrig.radio.virtual.air import Air
    from benchrig.radio.virtual.controller import VirtualController

BETWEEN_PACKETS = 150e-6
LONGEST_PACKET = 251
# What a central waits for in vain when its request is not answered (Core Vol 6 Part B 4.5.2).
EVENTS_TO_ESTABLISH = 6


class Timing(NamedTuple):
    """Connection parameters as in HCI: interval in 1.25 ms, latency in events, time-out in 10 ms."""

    interval: int
    latency: int
    timeout: int

    @property
    def interval_seconds(self) -> float:
        return self.interval * 1.25e-3

    @property
    def timeout_seconds(self) -> float:
        return self.timeout * 10e-3


def packet_time(octets: int, phy: int) -> float:
    """Seconds on air of one packet with so many octets of payload."""
    if phy == hci.Phy.LE_CODED:
        return (80 + 256 + 16 + 24 + 8 * 8 * (2 + octets + 3) + 3 * 8) * 1e-6
    preamble, bits_per_us = (2, 2) if phy == hci.Phy.LE_2M else (1, 1)
    return 8 * (preamble + 4 + 2 + octets + 3) / bits_per_us * 1e-6


def exchange_time(octets: int, phy: int, longest: int = LONGEST_PACKET) -> float:
    """Seconds that a PDU takes with the empty packets that confirm its fragments."""
    full, rest = divmod(octets, longest)
    sizes = [longest] * full + ([rest] if rest or not full else [])
    confirm = packet_time(0, phy) + 2 * BETWEEN_PACKETS
    return sum(packet_time(size, phy) + confirm for size in sizes)


@dataclass
class End(Connection):
    """One end of a link: the connection as its controller sees it."""

    air_link: AirLink = field(init=False)
    waiting: int = field(init=False, default=0)

    def on_hci_acl_data_packet(self, packet: hci.HCI_AclDataPacket) -> None:
        """Packets of a PDU are reported as completed when the PDU has crossed: so the host feels the air's pace."""
        self.waiting += 1
        self.assembler.feed_packet(packet)

    def on_acl_pdu(self, pdu: bytes) -> None:
        packets, self.waiting = self.waiting, 0
        self.air_link.send_data(self, pdu, packets)

    def send_ll_control_pdu(self, packet: ll.ControlPdu) -> None:
        self.air_link.send_control(self, packet)

    def completed(self, packets: int) -> None:
        event = hci.HCI_Number_Of_Completed_Packets_Event(
            connection_handles=[self.handle], num_completed_packets=[packets]
        )
        self.controller.send_hci_packet(event)


class AirLink:
    """Joins two controllers. Made by the air when a listener meets the advertiser it wants to connect to."""

    def __init__(self, air: Air, central: VirtualController, peripheral: VirtualController, timing: Timing) -> None:
        self.air = air
        self.timing = timing
        self.phy: tuple[int, int] = (hci.Phy.LE_1M, hci.Phy.LE_1M)  # central to peripheral, and back
        self.octets = LONGEST_PACKET
        self.anchor = asyncio.get_running_loop().time()
        self.is_up = True
        self.dark = False
        self.rssi_mean, self.rssi_spread = -50.0, 0.0
        self._timers: set[asyncio.TimerHandle] = set()
        self.central: End
        self.peripheral: End
        self._queues: dict[bool, Queue] = {}
        self._controllers = (central, peripheral)

    def open(self, central_address: hci.Address, peripheral_address: hci.Address) -> None:
        """Create both ends and tell both hosts."""
        central, peripheral = self._controllers
        self.central = self._end(central, hci.Role.CENTRAL, central_address, peripheral_address)
        self.peripheral = self._end(peripheral, hci.Role.PERIPHERAL, peripheral_address, central_address)
        self._queues = {True: Queue(self, to_central=True), False: Queue(self, to_central=False)}
        central.on_link_open(self.central, self.timing)
        peripheral.on_link_open(self.peripheral, self.timing)

    def _end(self, controller: Controller, role: hci.Role, own: hci.Address, peer: hci.Address) -> End:
        end = End(
            controller=controller,
            handle=controller.allocate_connection_handle(),
            role=role,
            self_address=own,
            peer_address=peer,
            link=controller.link,
            transport=PhysicalTransport.LE,
            link_type=hci.HCI_Connection_Complete_Event.LinkType.ACL,
        )
        end.air_link = self
        controller.le_connections[peer] = end
        return end

    def other(self, end: End) -> End:
        return self.peripheral if end is self.central else self.central

    def send_data(self, end: End, pdu: bytes, packets: int) -> None:
        """Carry one L2CAP PDU over; `packets` HCI packets of the sender are completed by it."""
        number = self.air.count_pdu()
        faults = self.air.faults
        to_central = end is self.peripheral
        if faults.kill_at is not None and number >= faults.kill_at:
            faults.kill_at = None
            self.end_later(0.0, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)
            return
        fate = faults.fate(AirPdu(number, end.controller, to_central, pdu)) if faults.fate else None
        extra = fate if isinstance(fate, (int, float)) else 0.0
        data = fate if isinstance(fate, bytes) else pdu

        def arrive() -> None:
            end.completed(packets)
            if fate is not DROPPED:
                self.air.note_pdu(number, to_central, data)
                receiver = self.other(end)
                receiver.controller.on_link_acl_data(receiver.peer_address, PhysicalTransport.LE, data)

        self._queues[to_central].send(len(pdu), arrive, faults.latency + extra)

    def send_control(self, end: End, packet: ll.ControlPdu) -> None:
        receiver = self.other(end)

        def arrive() -> None:
            if isinstance(packet, ll.TerminateInd):
                # The sender's own event says that it did it; the receiver's says why.
                self.close({end.role: hci.HCI_ErrorCode.CONNECTION_TERMINATED_BY_LOCAL_HOST_ERROR}, packet.error_code)
            else:
                receiver.controller.on_ll_control_pdu(receiver.peer_address, packet)

        self._queues[end is self.peripheral].send(2, arrive, self.air.faults.latency)

    def at_next_event(self, action: Callable[[], None]) -> None:
        """Do something in both controllers at once, in the next connection event: a procedure of the link layer."""
        self._queues[False].send(2, action, 0.0)

    def darken(self) -> None:
        """Nothing crosses any more: both ends notice after the supervision time-out."""
        if not self.dark:
            self.dark = True
            self.end_later(self.timing.timeout_seconds, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)

    def end_later(self, delay: float, reason: int) -> None:
        timer = asyncio.get_running_loop().call_later(delay, self.close, {}, reason)
        self._timers.add(timer)

    def close(self, reasons: dict[hci.Role, int], reason: int) -> None:
        """End the link: `reason` for each end that has none of its own in `reasons`."""
        if not self.is_up:
            return
        self.is_up = False
        for timer in self._timers:
            timer.cancel()
        for queue in self._queues.values():
            queue.close()
        self.air.forget(self)
        for end in (self.central, self.peripheral):
            if end.controller.le_connections.get(end.peer_address) is end:
                end.controller.on_le_disconnected(end, reasons.get(end.role, reason))


class Queue:
    """One direction of a link: what was sent first arrives first."""

    def __init__(self, link: AirLink, *, to_central: bool) -> None:
        self._link = link
        self._to_central = to_central
        self._free = 0.0
        self._due: deque[tuple[float, Callable[[], None]]] = deque()
        self._timer: asyncio.TimerHandle | None = None

    def send(self, octets: int, arrive: Callable[[], None], extra: float) -> None:
        """Queue a PDU. `extra` seconds later than the pace of the link demands."""
        link = self._link
        if link.dark or not link.is_up:
            return
        now = asyncio.get_running_loop().time()
        duration = exchange_time(octets, link.phy[1 if self._to_central else 0], link.octets)
        start = self._start(now + extra, duration)
        lost_for = self._lost_events() * link.timing.interval_seconds
        if lost_for >= link.timing.timeout_seconds:
            link.darken()
            return
        self._free = start + lost_for + duration
        self._due.append((self._free, arrive))
        self._wind()

    def _start(self, ready: float, duration: float) -> float:
        """When the packet goes out: right behind the one before it, or at the start of a connection event."""
        interval, anchor = self._link.timing.interval_seconds, self._link.anchor
        if self._free >= ready:
            event_end = anchor + (math.floor((self._free - anchor) / interval + 1e-6) + 1) * interval
            if self._free + duration <= event_end:
                return self._free
            ready = self._free
        number = math.floor((ready - anchor) / interval + 1e-6) + 1
        if not self._to_central:
            # A peripheral with latency sleeps through the events between.
            step = self._link.timing.latency + 1
            number = -(-number // step) * step
        return anchor + number * interval

    def _lost_events(self) -> int:
        loss, rng = self._link.air.faults.loss, self._link.air.rng
        if not loss:
            return 0
        most = math.ceil(self._link.timing.timeout_seconds / self._link.timing.interval_seconds)
        count = 0
        while count < most and rng.random() < loss:
            count += 1
        return count

    def _wind(self) -> None:
        if self._timer is None and self._due:
            self._timer = asyncio.get_running_loop().call_at(self._due[0][0], self._play)

    def _play(self) -> None:
        self._timer = None
        now = asyncio.get_running_loop().time()
        while self._due and self._due[0][0] <= now + 1e-9 and not self._link.dark:
            self._due.popleft()[1]()
        self._wind()

    def close(self) -> None:
        self._due.clear()
        if self._timer:
            self._timer.cancel()
            self._timer = None
