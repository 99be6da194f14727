"""One connection on the air: two ends, a queue for each direction, supervision."""

from __future__ import annotations

import asyncio
from abc import abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from benchrig.radio.bumble_stack.bumble_api import Controller, ControllerConnection, PhysicalTransport, hci, ll
from benchrig.radio.virtual.airqueue import Queue
from benchrig.radio.virtual.band import measure, whole_level
from benchrig.radio.virtual.carrier import Carrier, Timing
from benchrig.radio.virtual.faults import DROPPED, AirPdu
from benchrig.radio.virtual.pace import SHORTEST_PACKET, packet_time
from benchrig.radio.virtual.rough_link import Events, RoughQueue

if TYPE_CHECKING:
    import random

    from benchrig.radio.virtual.chance import Chance
    from benchrig.radio.virtual.conditions import Conditions
    from benchrig.radio.virtual.faults import Faults
    from benchrig.radio.virtual.propagation import Path

INTEGRITY_CHECK = 4  # octets that an encrypted packet has more
# From a connection request to the window of the first event (Core Vol 6 Part B 4.5.3).
FIRST_WINDOW = 1.25e-3
# Until an instant: six at least, and controllers take a little more.
INSTANT_EVENTS = 8


@dataclass
class End(ControllerConnection):
    """One end of a link: the connection as its controller sees it."""

    air_link: AirLink = field(init=False)
    waiting: int = field(init=False, default=0)
    is_encrypted: bool = field(init=False, default=False)

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


class Party(Controller):
    """A controller that a connection may join."""

    @abstractmethod
    def on_link_open(self, end: End, timing: Timing) -> None: ...


class Medium(Protocol):
    """The air, as far as a connection needs it."""

    chance: Chance
    faults: Faults

    def count_pdu(self) -> int: ...

    def note_pdu(self, number: int, to_central: bool, data: bytes) -> None: ...

    def forget(self, link: AirLink) -> None: ...


class AirLink(Carrier):
    """Joins two controllers. Made by the air when a listener meets the advertiser it wants to connect to."""

    def __init__(self, air: Medium, central: Party, peripheral: Party, timing: Timing) -> None:
        super().__init__(timing, air.faults, air.chance.of("link", peripheral.name))
        self.air = air
        self.rssi_mean, self.rssi_spread = -50.0, 0.0
        self.weaker = 0.0  # by so many dB its ends hear each other, since they are apart
        self._events: Events | None = None
        self.central: End
        self.peripheral: End
        self._queues: dict[bool, Queue] = {}
        self._controllers = (central, peripheral)

    def open(self, central_address: hci.Address, peripheral_address: hci.Address) -> None:
        """Create both ends and tell both hosts."""
        central, peripheral = self._controllers
        self.central = self._end(central, hci.Role.CENTRAL, central_address, peripheral_address)
        self.peripheral = self._end(peripheral, hci.Role.PERIPHERAL, peripheral_address, central_address)
        self._queues = {to_central: self._queue(to_central=to_central) for to_central in (True, False)}
        central.on_link_open(self.central, self.timing)
        peripheral.on_link_open(self.peripheral, self.timing)

    def roughen(self, path: Path, conditions: Conditions) -> None:
        """Before it opens: what a link of a rough air has more. The first event comes at some time within the window
        (Core Vol 6 Part B 4.5.3), packets are short until the lengths have been agreed (4.5.10)."""
        self.octets = SHORTEST_PACKET
        self.anchor += FIRST_WINDOW + self.chance.uniform(0.0, self.timing.interval_seconds)
        self._events = Events(self, path, conditions, self.chance, self.rssi_mean, self.weaker)
        self._most = conditions.packets
        self._events.watch()
        if conditions.data_length_after is not None:
            octets = max(one.suggested_max_tx_octets for one in self._controllers)
            after = self.anchor + conditions.data_length_after * self.timing.interval_seconds
            self.later(after - asyncio.get_running_loop().time(), lambda: self._change_octets(octets))

    def _queue(self, *, to_central: bool) -> Queue:
        if self._events is None:
            return Queue(self, to_central=to_central)
        return RoughQueue(self, self._events, self._most, to_central=to_central)

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

    @property
    def unit(self) -> str:
        return self._controllers[1].name

    def measured(self, rng: random.Random) -> int:
        """One measurement of its signal, in whole dBm."""
        if self._events is not None:
            return whole_level(self._events.level_of(rng))
        return measure(rng, self.rssi_mean - self.weaker, self.rssi_spread)

    def other(self, end: End) -> End:
        return self.peripheral if end is self.central else self.central

    def send_data(self, end: End, pdu: bytes, packets: int) -> None:
        """Carry one L2CAP PDU over; `packets` HCI packets of the sender are completed by it."""
        number = self.air.count_pdu()
        faults = self.faults
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

        self._queues[end is self.peripheral].send(2, arrive, self.faults.latency)

    def _at_next_event(self, action: Callable[[], None]) -> None:
        """Do something at both ends at once, in the next connection event: a procedure of the link layer."""
        self._queues[False].send(2, action, 0.0)

    def _at_instant(self, action: Callable[[], None]) -> None:
        """The same for a procedure that both ends have to hear of before: six events at least (Core Vol 6 Part B
        5.1.1)."""
        if self._events is None:
            self._at_next_event(action)
        else:
            self.later(INSTANT_EVENTS * self.timing.interval_seconds, action)

    def _tell(self, event_of: Callable[[End], hci.HCI_Event]) -> None:
        for end in (self.central, self.peripheral):
            end.controller.send_hci_packet(event_of(end))

    def phys_of(self, end: End) -> tuple[hci.Phy, hci.Phy]:
        """(tx, rx) as this end sees them."""
        to_peripheral, to_central = self.phy
        return (to_peripheral, to_central) if end is self.central else (to_central, to_peripheral)

    def change_phys(self, end: End, tx: hci.Phy, rx: hci.Phy) -> None:
        """A PHY update that `end` has asked for."""

        def change() -> None:
            self.phy = (tx, rx) if end is self.central else (rx, tx)
            self._tell(self._phy_event)

        self._at_instant(change)

    def _phy_event(self, end: End) -> hci.HCI_Event:
        tx, rx = self.phys_of(end)
        return hci.HCI_LE_PHY_Update_Complete_Event(
            status=hci.HCI_ErrorCode.SUCCESS, connection_handle=end.handle, tx_phy=tx, rx_phy=rx
        )

    def change_timing(self, timing: Timing) -> None:
        """A connection update: new events from the one in which it takes effect."""

        def change() -> None:
            self.timing = timing
            self.anchor = asyncio.get_running_loop().time()
            for counts in (self._events, *self._queues.values()):
                if counts:
                    counts.begin_anew()
            self._tell(self._timing_event)

        self._at_instant(change)

    def _timing_event(self, end: End) -> hci.HCI_Event:
        return hci.HCI_LE_Connection_Update_Complete_Event(
            status=hci.HCI_ErrorCode.SUCCESS,
            connection_handle=end.handle,
            connection_interval=self.timing.interval,
            peripheral_latency=self.timing.latency,
            supervision_timeout=self.timing.timeout,
        )

    def change_octets(self, octets: int) -> None:
        """A data length update that an end has asked for."""
        if self._events is None:
            self._change_octets(octets)
        else:
            self._at_next_event(lambda: self._change_octets(octets))

    def _change_octets(self, octets: int) -> None:
        """The longest packet, and the time that it takes on 1M."""
        if octets == self.octets and self._events is not None:
            return
        self.octets = octets
        time = round(packet_time(octets + INTEGRITY_CHECK, hci.Phy.LE_1M) * 1e6)
        self._tell(
            lambda end: hci.HCI_LE_Data_Length_Change_Event(
                connection_handle=end.handle,
                max_tx_octets=octets,
                max_tx_time=time,
                max_rx_octets=octets,
                max_rx_time=time,
            )
        )

    def darken(self) -> None:
        if not self.dark:
            self.dark = True
            for queue in self._queues.values():
                queue.close()
            self.end_later(self.timing.timeout_seconds, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)

    def end(self, reason: int) -> None:
        self.close({}, reason)

    def close(self, reasons: dict[hci.Role, int], reason: int) -> None:
        """End the link: `reason` for each end that has none of its own in `reasons`."""
        if not self.is_up:
            return
        self.is_up = False
        self.stop_timers()
        for queue in self._queues.values():
            queue.close()
        self.air.forget(self)
        for end in (self.central, self.peripheral):
            if end.controller.le_connections.get(end.peer_address) is end:
                end.controller.on_le_disconnected(end, reasons.get(end.role, reason))
