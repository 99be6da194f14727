"""What all parts of the controller share: the air, its host, its addresses, the accept list.

Sections are those of Core Vol 4 Part E unless another volume is named.
"""

from __future__ import annotations

import asyncio
from abc import abstractmethod
from typing import TYPE_CHECKING, Any, Protocol

from benchrig.radio.bumble_stack.bumble_api import PLAIN, Controller, Host, hci
from benchrig.radio.virtual.airlink import AirLink, Medium, Party
from benchrig.radio.virtual.band import Advertiser, Band
from benchrig.radio.virtual.controller.accept_list import AcceptList
from benchrig.radio.virtual.pace import LONGEST_PACKET

if TYPE_CHECKING:
    from benchrig.radio.virtual.carrier import Timing

SUCCESS = hci.HCI_ErrorCode.SUCCESS
DISALLOWED = hci.HCI_ErrorCode.COMMAND_DISALLOWED_ERROR
INVALID = hci.HCI_ErrorCode.INVALID_COMMAND_PARAMETERS_ERROR
UNKNOWN = hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR
NO_ADDRESS = hci.Address("00:00:00:00:00:00")
# What this controller does not do. A Linux host that reads LL privacy waits for the enhanced connection event.
_ABSENT = (
    hci.LeFeatureMask.LE_EXTENDED_ADVERTISING | hci.LeFeatureMask.LE_PERIODIC_ADVERTISING | hci.LeFeatureMask.LL_PRIVACY
)
_LONGEST_TIME = 17040  # µs, of the longest packet on the coded PHY
_OF_PUBLIC = (hci.OwnAddressType.PUBLIC, hci.OwnAddressType.RESOLVABLE_OR_PUBLIC)


def status(code: int) -> hci.HCI_StatusReturnParameters:
    return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode(code))


def is_same(one: hci.Address, other: hci.Address) -> bool:
    """The same octets of the same type."""
    return bytes(one) == bytes(other) and one.is_public == other.is_public


class Surroundings(Medium, Protocol):
    """The air, as far as a controller needs it."""

    band: Band

    def connect(self, central: Base, own: hci.Address, advertiser: Advertiser, timing: Timing) -> None: ...

    def rssi_of(self, link: AirLink) -> int: ...

    def interval_of(self, shortest: int, longest: int) -> int: ...

    def fail(self, exc: Exception) -> None: ...


class Base(Party):
    """A controller that does nothing yet."""

    le_acl_data_packet_length = LONGEST_PACKET
    acl_data_packet_length = LONGEST_PACKET
    supported_max_tx_octets = supported_max_rx_octets = suggested_max_tx_octets = LONGEST_PACKET
    supported_max_tx_time = supported_max_rx_time = _LONGEST_TIME
    suggested_max_tx_time = 2120
    le_features = Controller.le_features & ~_ABSENT

    def __init__(self, name: str, air: Surroundings, public_address: str | None = None) -> None:
        super().__init__(name, link=air, public_address=public_address)  # type: ignore[arg-type]
        self.air = air
        self.accept_list = AcceptList(self.filter_accept_list_size)
        self.advertiser = Advertiser(hci.Address.ANY, owner=self, listed=self.accept_list.has)

    @abstractmethod
    def on_advertising(self, advertiser: Advertiser, rssi: int, answer: int | None) -> None: ...

    @property
    @abstractmethod
    def scans_actively(self) -> bool: ...

    @property
    @abstractmethod
    def scan_timing(self) -> tuple[float, float]: ...

    @property
    @abstractmethod
    def asks_as(self) -> hci.Address: ...

    @abstractmethod
    def lists_in_use(self) -> bool: ...

    def own_address(self, kind: int) -> hci.Address:
        """The address that is meant by an own address type; it makes no resolvable ones itself."""
        return self.public_address if kind in _OF_PUBLIC else self.random_address

    def on_packet(self, packet: bytes) -> None:
        try:
            super().on_packet(packet)
        except Exception as exc:
            self.air.fail(exc)

    def on_data(self, packet: hci.HCI_AclDataPacket) -> None:
        try:
            super().on_data(packet)
        except Exception as exc:
            self.air.fail(exc)

    def send_hci_packet(self, packet: hci.HCI_Packet) -> None:
        if isinstance(packet, PLAIN) and isinstance(self.host, Host):
            asyncio.get_running_loop().call_soon(self.host.on_packet, packet)
        else:
            self.to_host(bytes(packet))

    def to_host(self, packet: bytes) -> None:
        if self.host:
            asyncio.get_running_loop().call_soon(self.host.on_packet, packet)

    def on_hci_command(self, command: hci.HCI_Command) -> Any:
        """A command that is not known: the stock controller leaves an asynchronous one unanswered for ever."""
        if isinstance(command, hci.HCI_AsyncCommand):
            self.send_command_status(hci.HCI_ErrorCode.UNKNOWN_HCI_COMMAND_ERROR, command.op_code)
            return None
        return status(hci.HCI_ErrorCode.UNKNOWN_HCI_COMMAND_ERROR)

    def send_connection_complete(
        self, code: int, handle: int, role: hci.Role, peer: hci.Address, timing: Timing
    ) -> None:
        self.send_hci_packet(self.connection_complete(hci.HCI_ErrorCode(code), handle, role, peer, timing))

    def connection_complete(
        self, code: hci.HCI_ErrorCode, handle: int, role: hci.Role, peer: hci.Address, timing: Timing
    ) -> hci.HCI_Event:
        return hci.HCI_LE_Connection_Complete_Event(
            status=code,
            connection_handle=handle,
            role=role,
            peer_address_type=peer.address_type,
            peer_address=peer,
            connection_interval=timing.interval,
            peripheral_latency=timing.latency,
            supervision_timeout=timing.timeout,
            central_clock_accuracy=0,
        )

    # The accept list

    def on_hci_le_clear_filter_accept_list_command(
        self, _command: hci.HCI_LE_Clear_Filter_Accept_List_Command
    ) -> hci.HCI_StatusReturnParameters:
        if self.lists_in_use():
            return status(DISALLOWED)
        self.accept_list.clear()
        return status(SUCCESS)

    def on_hci_le_add_device_to_filter_accept_list_command(
        self, command: hci.HCI_LE_Add_Device_To_Filter_Accept_List_Command
    ) -> hci.HCI_StatusReturnParameters:
        if self.lists_in_use():
            return status(DISALLOWED)
        fits = self.accept_list.add(command.address_type, command.address)
        return status(SUCCESS if fits else hci.HCI_ErrorCode.MEMORY_CAPACITY_EXCEEDED_ERROR)

    def on_hci_le_remove_device_from_filter_accept_list_command(
        self, command: hci.HCI_LE_Remove_Device_From_Filter_Accept_List_Command
    ) -> hci.HCI_StatusReturnParameters:
        if self.lists_in_use():
            return status(DISALLOWED)
        self.accept_list.remove(command.address_type, command.address)
        return status(SUCCESS)
