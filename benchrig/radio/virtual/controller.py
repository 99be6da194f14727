"""bumble's software controller, with what a bench needs put right.

It is a legacy-advertising controller of Bluetooth 5.0 (2M and coded PHY, data length extension): advertising and
scan response apart, passive and active scans, connectable or not, a signal strength, connections that can be
cancelled, with their real parameters at both ends, from a public address too.
"""

from __future__ import annotations

import asyncio
from typing import Any, Protocol

from benchrig.radio.bumble_stack.bumble_api import Controller, PhysicalTransport, hci, ll
from benchrig.radio.virtual.airlink import AirLink, End, Medium, Party
from benchrig.radio.virtual.band import Advertiser, Band
from benchrig.radio.virtual.carrier import Timing
from benchrig.radio.virtual.pace import LONGEST_PACKET

_ADV_IND, _ADV_DIRECT_IND, _ADV_SCAN_IND, _ADV_NONCONN_IND, _SCAN_RSP = range(5)
_SUCCESS = hci.HCI_ErrorCode.SUCCESS
_UNKNOWN = hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR
_DISALLOWED = hci.HCI_ErrorCode.COMMAND_DISALLOWED_ERROR
# What this controller does not do. A Linux host that reads LL privacy waits for the enhanced connection event.
_ABSENT = (
    hci.LeFeatureMask.LE_EXTENDED_ADVERTISING | hci.LeFeatureMask.LE_PERIODIC_ADVERTISING | hci.LeFeatureMask.LL_PRIVACY
)
_SCAN_UNIT = 0.625e-3  # s, of scan intervals and windows (Core Vol 4 Part E 7.8.10)
_LONGEST_TIME = 17040  # µs, of the longest packet on the coded PHY


def _status(code: int) -> hci.HCI_StatusReturnParameters:
    return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode(code))


class Surroundings(Medium, Protocol):
    """The air, as far as a controller needs it."""

    band: Band

    def connect(self, central: VirtualController, own: hci.Address, advertiser: Advertiser, timing: Timing) -> None: ...

    def rssi_of(self, link: AirLink) -> int: ...

    def interval_of(self, shortest: int, longest: int) -> int: ...

    def fail(self, exc: Exception) -> None: ...


class VirtualController(Party):
    """A controller in the air. Its host hangs on it as on any transport: it is both source and sink."""

    le_acl_data_packet_length = LONGEST_PACKET
    acl_data_packet_length = LONGEST_PACKET
    supported_max_tx_octets = supported_max_rx_octets = suggested_max_tx_octets = LONGEST_PACKET
    supported_max_tx_time = supported_max_rx_time = _LONGEST_TIME
    suggested_max_tx_time = 2120
    le_features = Controller.le_features & ~_ABSENT

    def __init__(self, name: str, air: Surroundings, public_address: str | None = None) -> None:
        super().__init__(name, link=air, public_address=public_address)  # type: ignore[arg-type]
        self.air = air
        self.advertiser = Advertiser(hci.Address.ANY, owner=self)
        self._reported: set[tuple[bytes, int]] = set()

    def on_packet(self, packet: bytes) -> None:
        try:
            super().on_packet(packet)
        except Exception as exc:
            self.air.fail(exc)

    def send_hci_packet(self, packet: hci.HCI_Packet) -> None:
        self._to_host(bytes(packet))

    def _to_host(self, packet: bytes) -> None:
        if self.host:
            asyncio.get_running_loop().call_soon(self.host.on_packet, packet)

    def on_hci_command(self, command: hci.HCI_Command) -> Any:
        """A command that is not known: the stock controller leaves an asynchronous one unanswered for ever."""
        if isinstance(command, hci.HCI_AsyncCommand):
            self.send_command_status(hci.HCI_ErrorCode.UNKNOWN_HCI_COMMAND_ERROR, command.op_code)
            return None
        return _status(hci.HCI_ErrorCode.UNKNOWN_HCI_COMMAND_ERROR)

    def on_hci_reset_command(self, _command: hci.HCI_Reset_Command) -> hci.HCI_StatusReturnParameters:
        for end in list(self.le_connections.values()):
            if isinstance(end, End):
                end.air_link.end_later(end.air_link.timing.timeout_seconds, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)
                del self.le_connections[end.peer_address]
        self.power_down()
        return _status(_SUCCESS)

    def power_down(self) -> None:
        """No advertising, no scan, no connection under way."""
        self.air.band.stop(self.advertiser)
        self.le_scan_enable = False
        self.pending_le_connection = None
        self.air.band.unlisten(self)

    # Advertising

    def on_hci_le_set_advertising_parameters_command(
        self, command: hci.HCI_LE_Set_Advertising_Parameters_Command
    ) -> hci.HCI_StatusReturnParameters:
        if self.air.band.is_on(self.advertiser):
            return _status(_DISALLOWED)
        public = command.own_address_type in (hci.OwnAddressType.PUBLIC, hci.OwnAddressType.RESOLVABLE_OR_PUBLIC)
        self.advertiser.address = self.public_address if public else self.random_address
        self.advertiser.interval = command.advertising_interval_min * 0.625e-3
        self.advertiser.connectable = command.advertising_type == _ADV_IND
        self.advertiser.scannable = command.advertising_type in (_ADV_IND, _ADV_SCAN_IND)
        return _status(_SUCCESS)

    def on_hci_le_set_advertising_data_command(
        self, command: hci.HCI_LE_Set_Advertising_Data_Command
    ) -> hci.HCI_StatusReturnParameters:
        self.advertiser.data = bytes(command.advertising_data)
        return _status(_SUCCESS)

    def on_hci_le_set_scan_response_data_command(
        self, command: hci.HCI_LE_Set_Scan_Response_Data_Command
    ) -> hci.HCI_StatusReturnParameters:
        self.advertiser.scan_response = bytes(command.scan_response_data)
        return _status(_SUCCESS)

    def on_hci_le_set_advertising_enable_command(
        self, command: hci.HCI_LE_Set_Advertising_Enable_Command
    ) -> hci.HCI_StatusReturnParameters:
        if command.advertising_enable:
            self.air.band.start(self.advertiser)
        else:
            self.air.band.stop(self.advertiser)
        return _status(_SUCCESS)

    # Scanning

    def on_hci_le_set_scan_enable_command(
        self, command: hci.HCI_LE_Set_Scan_Enable_Command
    ) -> hci.HCI_StatusReturnParameters:
        self._reported.clear()
        result = super().on_hci_le_set_scan_enable_command(command)
        self._listen_or_not()
        return result

    def _listen_or_not(self) -> None:
        if self.le_scan_enable or self.pending_le_connection:
            self.air.band.listen(self)
        else:
            self.air.band.unlisten(self)

    @property
    def scans_actively(self) -> bool:
        return bool(self.le_scan_enable) and self.le_scan_type == 1

    @property
    def scan_timing(self) -> tuple[float, float]:
        """Interval and window, in seconds: those of the scan, or of the connection that is waited for."""
        asked: Any = self if self.le_scan_enable or not self.pending_le_connection else self.pending_le_connection
        return asked.le_scan_interval * _SCAN_UNIT, asked.le_scan_window * _SCAN_UNIT

    def on_advertising(self, advertiser: Advertiser, rssi: int, answer: int | None) -> None:
        """An advertising event was heard; `answer` is the level of a scan response, None for none."""
        if not self._is_meant_by(advertiser):
            return
        if self.le_scan_enable:
            data = b"" if advertiser.directed_to is not None else advertiser.data
            self._report(_kind_of(advertiser), advertiser, data, rssi)
            if answer is not None and self.le_scan_type == 1:
                self._report(_SCAN_RSP, advertiser, advertiser.scan_response, answer)
        pending = self.pending_le_connection
        if pending and advertiser.connectable and pending.peer_address == advertiser.address:
            self._connect(pending, advertiser)

    def _is_meant_by(self, advertiser: Advertiser) -> bool:
        """Directed advertising is for one central (Core Vol 6 Part B 4.4.2.4)."""
        if advertiser.directed_to is None:
            return True
        return bytes(advertiser.directed_to) in (bytes(self.public_address), bytes(self.random_address))

    def _report(self, kind: int, advertiser: Advertiser, data: bytes, rssi: int) -> None:
        address = bytes(advertiser.address)
        if self.filter_duplicates:
            if (address, kind) in self._reported:
                return
            self._reported.add((address, kind))
        report = bytes((2, 1, kind, advertiser.address.address_type)) + address + bytes((len(data),)) + data
        body = report + (rssi & 0xFF).to_bytes(1, "little")
        self._to_host(b"\x04\x3e" + bytes((len(body),)) + body)

    # Connecting

    def on_hci_le_create_connection_command(self, command: hci.HCI_LE_Create_Connection_Command) -> None:
        super().on_hci_le_create_connection_command(command)
        self._listen_or_not()

    def on_hci_le_create_connection_cancel_command(
        self, _command: hci.HCI_LE_Create_Connection_Cancel_Command
    ) -> hci.HCI_StatusReturnParameters:
        pending, self.pending_le_connection = self.pending_le_connection, None
        if pending is None:
            return _status(_DISALLOWED)
        self._listen_or_not()
        # The word that the connect has ended comes behind the answer to this command.
        asyncio.get_running_loop().call_soon(self._send_connect_failed, pending.peer_address, _UNKNOWN)
        return _status(_SUCCESS)

    def _send_connect_failed(self, peer: hci.Address, status: int) -> None:
        event = self._connection_complete(hci.HCI_ErrorCode(status), 0, hci.Role.CENTRAL, peer, Timing(0, 0, 0))
        self.send_hci_packet(event)

    def _connect(self, pending: Any, advertiser: Advertiser) -> None:
        self.pending_le_connection = None
        self._listen_or_not()
        public = pending.own_address_type == hci.OwnAddressType.PUBLIC
        own = self.public_address if public else self.random_address
        interval = self.air.interval_of(pending.connection_interval_min, pending.connection_interval_max)
        timing = Timing(interval, pending.max_latency, pending.supervision_timeout)
        self.air.connect(self, own, advertiser, timing)

    def on_link_open(self, end: End, timing: Timing) -> None:
        """A connection of this controller has come about; an advertiser stops with it."""
        if end.role == hci.Role.PERIPHERAL:
            self.air.band.stop(self.advertiser)
        event = self._connection_complete(_SUCCESS, end.handle, end.role, end.peer_address, timing)
        self.send_hci_packet(event)

    def _connection_complete(
        self, status: hci.HCI_ErrorCode, handle: int, role: hci.Role, peer: hci.Address, timing: Timing
    ) -> hci.HCI_LE_Connection_Complete_Event:
        return hci.HCI_LE_Connection_Complete_Event(
            status=status,
            connection_handle=handle,
            role=role,
            peer_address_type=peer.address_type,
            peer_address=peer,
            connection_interval=timing.interval,
            peripheral_latency=timing.latency,
            supervision_timeout=timing.timeout,
            central_clock_accuracy=0,
        )

    # Connections

    def on_link_acl_data(self, sender_address: hci.Address, transport: PhysicalTransport, data: bytes) -> None:
        """A PDU has arrived: to the host in packets of the size that it was told."""
        if connection := self.le_connections.get(sender_address):
            for at in range(0, len(data), self.le_acl_data_packet_length):
                part = data[at : at + self.le_acl_data_packet_length]
                self.send_hci_packet(hci.HCI_AclDataPacket(connection.handle, 1 if at else 2, 0, len(part), part))

    def _end(self, handle: int) -> End | None:
        end = self.find_le_connection_by_handle(handle)
        return end if isinstance(end, End) else None

    def on_hci_disconnect_command(self, command: hci.HCI_Disconnect_Command) -> None:
        end = self._end(command.connection_handle)
        status = hci.HCI_COMMAND_STATUS_PENDING if end else _UNKNOWN
        self.send_command_status(status, command.op_code)
        if end:
            end.send_ll_control_pdu(ll.TerminateInd(command.reason))

    def on_hci_read_rssi_command(self, command: hci.HCI_Read_RSSI_Command) -> hci.HCI_Read_RSSI_ReturnParameters:
        end = self._end(command.handle)
        return hci.HCI_Read_RSSI_ReturnParameters(
            status=_SUCCESS if end else _UNKNOWN,
            handle=command.handle,
            rssi=self.air.rssi_of(end.air_link) if end else 127,
        )

    def on_hci_le_set_data_length_command(
        self, command: hci.HCI_LE_Set_Data_Length_Command
    ) -> hci.HCI_StatusAndConnectionHandleReturnParameters:
        end = self._end(command.connection_handle)
        if end:
            end.air_link.change_octets(command.tx_octets)
        return hci.HCI_StatusAndConnectionHandleReturnParameters(
            status=_SUCCESS if end else _UNKNOWN, connection_handle=command.connection_handle
        )

    def on_hci_le_read_phy_command(self, command: hci.HCI_LE_Read_PHY_Command) -> hci.HCI_LE_Read_PHY_ReturnParameters:
        end = self._end(command.connection_handle)
        tx, rx = end.air_link.phys_of(end) if end else (hci.Phy.LE_1M, hci.Phy.LE_1M)
        return hci.HCI_LE_Read_PHY_ReturnParameters(
            status=_SUCCESS if end else _UNKNOWN,
            connection_handle=command.connection_handle,
            tx_phy=tx,
            rx_phy=rx,
        )

    def on_hci_le_set_phy_command(self, command: hci.HCI_LE_Set_PHY_Command) -> None:
        end = self._end(command.connection_handle)
        status = hci.HCI_COMMAND_STATUS_PENDING if end else _UNKNOWN
        self.send_command_status(status, command.op_code)
        if end:
            tx = _chosen(command.tx_phys, no_preference=command.all_phys & 1)
            rx = _chosen(command.rx_phys, no_preference=command.all_phys & 2)
            end.air_link.change_phys(end, tx, rx)

    def on_hci_le_connection_update_command(self, command: hci.HCI_LE_Connection_Update_Command) -> None:
        end = self._end(command.connection_handle)
        status = hci.HCI_COMMAND_STATUS_PENDING if end else _UNKNOWN
        self.send_command_status(status, command.op_code)
        if end:
            timing = Timing(command.connection_interval_max, command.max_latency, command.supervision_timeout)
            end.air_link.change_timing(timing)


def _kind_of(advertiser: Advertiser) -> int:
    """The type of its advertising PDUs, as reports have it."""
    if advertiser.directed_to is not None:
        return _ADV_DIRECT_IND
    return _ADV_IND if advertiser.connectable else _ADV_SCAN_IND if advertiser.scannable else _ADV_NONCONN_IND


def _chosen(wanted: int, *, no_preference: int) -> hci.Phy:
    """The PHY of a mask: the fastest of those asked for, 1M without a preference."""
    if no_preference or wanted & 0b111 == 0:
        return hci.Phy.LE_1M
    return hci.Phy.LE_2M if wanted & 2 else hci.Phy.LE_1M if wanted & 1 else hci.Phy.LE_CODED
