"""The controller of a port: for a host that this program knows nothing about, in another process.

Every command is answered, also those that are unknown, vendor-specific or wrong: a host waits for ever on silence.
Sections are those of Core Vol 4 Part E.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from benchrig.radio.bumble_stack.bumble_api import encrypt_block, hci
from benchrig.radio.bumble_stack.host import in_words
from benchrig.radio.h4 import ACL, COMMAND, EVENT, NotH4
from benchrig.radio.virtual.airlink import End
from benchrig.radio.virtual.carrier import Timing
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.controller.advertising import HIGH_DUTY

if TYPE_CHECKING:
    from benchrig.radio.virtual.air import Air

_SUCCESS = hci.HCI_ErrorCode.SUCCESS
_INVALID = hci.HCI_ErrorCode.INVALID_COMMAND_PARAMETERS_ERROR
_UNKNOWN_COMMAND = hci.HCI_ErrorCode.UNKNOWN_HCI_COMMAND_ERROR
_UNKNOWN_CONNECTION = hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR

# 7.8.1: which LE events are on before a host chooses
_LE_EVENTS = 0x1F
_LE_META, _ENHANCED_CONNECTION_COMPLETE = 0x3E, 0x0A
_INTERVALS = range(0x20, 0x4001)
_DEFAULT_INTERVAL = 1.28
_MORE_COMMANDS = {
    hci.HCI_READ_LOCAL_SUPPORTED_COMMANDS_COMMAND,
    hci.HCI_READ_REMOTE_VERSION_INFORMATION_COMMAND,
    hci.HCI_LE_ENCRYPT_COMMAND,
}
_SILENT = hci.HCI_HOST_NUMBER_OF_COMPLETED_PACKETS_COMMAND  # 7.3.40: no answer, unless it is wrong
_NO_ADDRESS = hci.Address("00:00:00:00:00:00")


def _status(code: int) -> hci.HCI_StatusReturnParameters:
    return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode(code))


# Extended and periodic advertising, extended scan and connect (7.8.52 to 7.8.75).
_EXTENDED_COMMANDS = range(0x2035, 0x204C)


class HostedController(VirtualController):
    """`addresses` are those under which its host has advertised, `refused` the names of commands it does not have."""

    # It resolves no private addresses; a host may choose its events by that (7.7.65.10).
    le_features = VirtualController.le_features & ~hci.LeFeatureMask.LL_PRIVACY

    def __init__(self, air: Air, public_address: str) -> None:
        super().__init__(f"port {public_address}", air, public_address=public_address)
        self.addresses: set[str] = set()
        self.supported_commands = {
            code
            for code in VirtualController.supported_commands | _MORE_COMMANDS
            if code == _SILENT or hasattr(self, f"on_{hci.HCI_Command.command_name(code).lower()}")
        }
        # commands that were refused because the controller does not have them, in the order of their first time
        self.refused: dict[int, str] = {}
        self._send: Callable[[bytes], None] | None = None
        self._answered = False
        self._restore()

    # The host

    def plug_in(self, send: Callable[[bytes], None]) -> None:
        """A host has come; `send` takes packets to it."""
        self._restore()
        self._send = send

    def unplug(self) -> None:
        """The host is gone without a word: nothing is heard of it any more."""
        self._send = None
        self._restore()

    @property
    def missing_extended(self) -> str:
        """The first command of extended advertising that the host wanted; '' for none."""
        return next((name for code, name in self.refused.items() if code in _EXTENDED_COMMANDS), "")

    def _restore(self) -> None:
        """The state after power-up and after a reset (7.3.2). Peers of a link find out by its supervision time-out."""
        for end in list(self.le_connections.values()):
            if isinstance(end, End):
                end.air_link.darken()
        self.le_connections.clear()
        self.power_down()
        self.random_address = _NO_ADDRESS
        self.le_event_mask, self.event_mask = _LE_EVENTS, 0x1FFFFFFFFFFF
        self.le_scan_type, self.filter_duplicates = 0, False
        self.suggested_max_tx_octets, self.suggested_max_tx_time = 27, 328
        self.default_phy = {"all_phys": 0, "tx_phys": 0, "rx_phys": 0}
        self._own_type = 0
        self.advertiser.data = self.advertiser.scan_response = b""
        self.advertiser.interval = _DEFAULT_INTERVAL
        self.advertiser.connectable = self.advertiser.scannable = True
        self.advertiser.directed_to, self.advertiser.policy, self.advertiser.high_duty = None, 0, False

    def on_packet(self, packet: bytes) -> None:
        """From the host. Raises NotH4 for data that are none; synchronous and isochronous data go nowhere."""
        if packet[0] == COMMAND:
            self._command(packet)
        elif packet[0] == ACL:
            try:
                self.on_hci_acl_data_packet(hci.HCI_AclDataPacket.from_bytes(packet))
            except Exception as exc:
                raise NotH4(f"ACL data that are not L2CAP ({exc})") from exc

    def _command(self, packet: bytes) -> None:
        code = int.from_bytes(packet[1:3], "little")
        self._answered = code == _SILENT
        error = _UNKNOWN_COMMAND
        if code in self.supported_commands and not self._answered:
            try:
                self.on_hci_command_packet(hci.HCI_Command.from_bytes(packet))
            except Exception:
                error = _INVALID  # whatever it is that the host has sent, it is not what the command takes
        if not self._answered:
            if error == _UNKNOWN_COMMAND:
                self.refused.setdefault(code, in_words(hci.HCI_Command.command_name(code)))
            self.send_command_status(error, code)

    def send_hci_packet(self, packet: hci.HCI_Packet) -> None:
        if isinstance(packet, (hci.HCI_Command_Complete_Event, hci.HCI_Command_Status_Event)):
            self._answered = True
        super().send_hci_packet(packet)

    def to_host(self, packet: bytes) -> None:
        """To the host, unless it is an LE event that the host does not want (7.8.1)."""
        if self._send is None:
            return
        if packet[0] == EVENT and packet[1] == _LE_META and not self._wants(packet[3]):
            return
        self._send(packet)

    def _wants(self, subevent: int) -> bool:
        return bool(self.le_event_mask >> (subevent - 1) & 1)

    def on_hci_reset_command(self, _command: hci.HCI_Reset_Command) -> hci.HCI_StatusReturnParameters:
        self._restore()
        return _status(_SUCCESS)

    # Advertising

    def on_hci_le_set_advertising_parameters_command(
        self, command: hci.HCI_LE_Set_Advertising_Parameters_Command
    ) -> hci.HCI_StatusReturnParameters:
        """7.8.5: of high duty directed advertising the intervals are ignored."""
        shortest, longest = command.advertising_interval_min, command.advertising_interval_max
        legal = shortest in _INTERVALS and longest in _INTERVALS and shortest <= longest
        if not legal and int(command.advertising_type) != HIGH_DUTY:
            return _status(_INVALID)
        return super().on_hci_le_set_advertising_parameters_command(command)

    def on_hci_le_set_advertising_enable_command(
        self, command: hci.HCI_LE_Set_Advertising_Enable_Command
    ) -> hci.HCI_StatusReturnParameters:
        result = super().on_hci_le_set_advertising_enable_command(command)
        if command.advertising_enable and result.status == _SUCCESS:
            self.addresses.add(self.advertiser.address.to_string(False))
        return result

    # Connections

    def connection_complete(
        self, status: hci.HCI_ErrorCode, handle: int, role: hci.Role, peer: hci.Address, timing: Timing
    ) -> Any:
        """The enhanced event where the host wants it, then in place of the other (7.7.65.10)."""
        if not self._wants(_ENHANCED_CONNECTION_COMPLETE):
            return super().connection_complete(status, handle, role, peer, timing)
        return hci.HCI_LE_Enhanced_Connection_Complete_Event(
            status=status,
            connection_handle=handle,
            role=role,
            peer_address_type=peer.address_type,
            peer_address=peer,
            local_resolvable_private_address=_NO_ADDRESS,
            peer_resolvable_private_address=_NO_ADDRESS,
            connection_interval=timing.interval,
            peripheral_latency=timing.latency,
            supervision_timeout=timing.timeout,
            central_clock_accuracy=0,
        )

    def on_hci_read_remote_version_information_command(
        self, command: hci.HCI_Read_Remote_Version_Information_Command
    ) -> None:
        """7.1.23: all controllers of the air are of one version."""
        known = self.find_le_connection_by_handle(command.connection_handle) is not None
        self.send_command_status(hci.HCI_COMMAND_STATUS_PENDING if known else _UNKNOWN_CONNECTION, command.op_code)
        if known:
            self.send_hci_packet(
                hci.HCI_Read_Remote_Version_Information_Complete_Event(
                    status=_SUCCESS,
                    connection_handle=command.connection_handle,
                    version=self.lmp_version,
                    manufacturer_name=self.manufacturer_company_identifier,
                    subversion=self.lmp_subversion,
                )
            )

    def on_hci_le_encrypt_command(self, command: hci.HCI_Command) -> None:
        """7.8.22, for hosts without a cipher of their own. bumble has no class for it."""
        key, text = command.parameters[:16], command.parameters[16:32]
        returned = bytes((1, *command.op_code.to_bytes(2, "little"), _SUCCESS)) + encrypt_block(key, text)
        self._answered = True
        self.to_host(bytes((EVENT, hci.HCI_COMMAND_COMPLETE_EVENT, len(returned))) + returned)
