"""The controller's links: data, PHYs, lengths, parameters, signal, their end."""

from __future__ import annotations

from benchrig.radio.bumble_stack.bumble_api import PhysicalTransport, hci, ll
from benchrig.radio.virtual.airlink import End
from benchrig.radio.virtual.carrier import Timing
from benchrig.radio.virtual.controller.base import SUCCESS, UNKNOWN, Base


class Links(Base):
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
        self.send_command_status(hci.HCI_COMMAND_STATUS_PENDING if end else UNKNOWN, command.op_code)
        if end:
            end.send_ll_control_pdu(ll.TerminateInd(command.reason))

    def on_hci_read_rssi_command(self, command: hci.HCI_Read_RSSI_Command) -> hci.HCI_Read_RSSI_ReturnParameters:
        end = self._end(command.handle)
        return hci.HCI_Read_RSSI_ReturnParameters(
            status=SUCCESS if end else UNKNOWN,
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
            status=SUCCESS if end else UNKNOWN, connection_handle=command.connection_handle
        )

    def on_hci_le_read_phy_command(self, command: hci.HCI_LE_Read_PHY_Command) -> hci.HCI_LE_Read_PHY_ReturnParameters:
        end = self._end(command.connection_handle)
        tx, rx = end.air_link.phys_of(end) if end else (hci.Phy.LE_1M, hci.Phy.LE_1M)
        return hci.HCI_LE_Read_PHY_ReturnParameters(
            status=SUCCESS if end else UNKNOWN,
            connection_handle=command.connection_handle,
            tx_phy=tx,
            rx_phy=rx,
        )

    def on_hci_le_set_phy_command(self, command: hci.HCI_LE_Set_PHY_Command) -> None:
        end = self._end(command.connection_handle)
        self.send_command_status(hci.HCI_COMMAND_STATUS_PENDING if end else UNKNOWN, command.op_code)
        if end:
            tx = _chosen(command.tx_phys, no_preference=command.all_phys & 1)
            rx = _chosen(command.rx_phys, no_preference=command.all_phys & 2)
            end.air_link.change_phys(end, tx, rx)

    def on_hci_le_connection_update_command(self, command: hci.HCI_LE_Connection_Update_Command) -> None:
        end = self._end(command.connection_handle)
        self.send_command_status(hci.HCI_COMMAND_STATUS_PENDING if end else UNKNOWN, command.op_code)
        if end:
            timing = Timing(command.connection_interval_max, command.max_latency, command.supervision_timeout)
            end.air_link.change_timing(timing)


def _chosen(wanted: int, *, no_preference: int) -> hci.Phy:
    """The PHY of a mask: the fastest of those asked for, 1M without a preference."""
    if no_preference or wanted & 0b111 == 0:
        return hci.Phy.LE_1M
    return hci.Phy.LE_2M if wanted & 2 else hci.Phy.LE_1M if wanted & 1 else hci.Phy.LE_CODED
