"""The controller advertises: to all, or to one; it hears all, or those of its accept list (Core Vol 4 Part E 7.8.5)."""

from __future__ import annotations

import asyncio

from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.virtual.band import HIGH_DUTY_INTERVAL
from benchrig.radio.virtual.carrier import Timing
from benchrig.radio.virtual.controller.base import DISALLOWED, INVALID, NO_ADDRESS, SUCCESS, Base, status

ADV_IND, HIGH_DUTY, ADV_SCAN_IND, ADV_NONCONN_IND, LOW_DUTY = range(5)
DIRECTED = (HIGH_DUTY, LOW_DUTY)
UNIT = 0.625e-3  # s
# Of high duty directed advertising (Core Vol 6 Part B 4.4.2.4.3)
LONGEST_HIGH_DUTY = 1.28


class Advertises(Base):
    """One advertiser, as legacy commands have it."""

    _own_type = int(hci.OwnAddressType.PUBLIC)
    _deadline: asyncio.TimerHandle | None = None

    def on_hci_le_set_random_address_command(
        self, command: hci.HCI_LE_Set_Random_Address_Command
    ) -> hci.HCI_StatusReturnParameters:
        """7.8.4: not while it may be in use."""
        if self.air.band.is_on(self.advertiser) or self.le_scan_enable or self.pending_le_connection:
            return status(DISALLOWED)
        return super().on_hci_le_set_random_address_command(command)

    def on_hci_le_set_advertising_parameters_command(
        self, command: hci.HCI_LE_Set_Advertising_Parameters_Command
    ) -> hci.HCI_StatusReturnParameters:
        if self.air.band.is_on(self.advertiser):
            return status(DISALLOWED)
        kind = int(command.advertising_type)
        if kind not in range(LOW_DUTY + 1) or command.advertising_filter_policy not in range(4):
            return status(INVALID)
        one = self.advertiser
        self._own_type = int(command.own_address_type)
        one.high_duty = kind == HIGH_DUTY
        one.interval = HIGH_DUTY_INTERVAL if one.high_duty else command.advertising_interval_min * UNIT
        one.connectable = kind in (ADV_IND, *DIRECTED)
        one.scannable = kind in (ADV_IND, ADV_SCAN_IND)
        one.directed_to = _target(command) if kind in DIRECTED else None
        one.policy = 0 if kind in DIRECTED else command.advertising_filter_policy
        return status(SUCCESS)

    def on_hci_le_set_advertising_data_command(
        self, command: hci.HCI_LE_Set_Advertising_Data_Command
    ) -> hci.HCI_StatusReturnParameters:
        self.advertiser.data = bytes(command.advertising_data)
        return status(SUCCESS)

    def on_hci_le_set_scan_response_data_command(
        self, command: hci.HCI_LE_Set_Scan_Response_Data_Command
    ) -> hci.HCI_StatusReturnParameters:
        self.advertiser.scan_response = bytes(command.scan_response_data)
        return status(SUCCESS)

    def on_hci_le_set_advertising_enable_command(
        self, command: hci.HCI_LE_Set_Advertising_Enable_Command
    ) -> hci.HCI_StatusReturnParameters:
        """7.8.9: with the address that is set by now; a random one has to be set."""
        if not command.advertising_enable:
            self.stop_advertising()
            return status(SUCCESS)
        address = self.own_address(self._own_type)
        if bytes(address) == bytes(NO_ADDRESS):
            return status(INVALID)
        self.advertiser.address = address
        self._start_advertising()
        return status(SUCCESS)

    def _start_advertising(self) -> None:
        self.stop_advertising()
        self.air.band.start(self.advertiser)
        if self.advertiser.high_duty:
            self._deadline = asyncio.get_running_loop().call_later(LONGEST_HIGH_DUTY, self._give_up)

    def stop_advertising(self) -> None:
        self.air.band.stop(self.advertiser)
        if self._deadline:
            self._deadline.cancel()
            self._deadline = None

    def _give_up(self) -> None:
        """The target has not connected in the time that there is (7.7.65.1, 7.8.9)."""
        self.stop_advertising()
        target = self.advertiser.directed_to or NO_ADDRESS
        code = hci.HCI_ErrorCode.ADVERTISING_TIMEOUT_ERROR
        self.send_connection_complete(code, 0, hci.Role.PERIPHERAL, target, Timing(0, 0, 0))

    @property
    def advertises_by_list(self) -> bool:
        return bool(self.advertiser.policy) and self.air.band.is_on(self.advertiser)


def _target(command: hci.HCI_LE_Set_Advertising_Parameters_Command) -> hci.Address:
    """The address with the type that the command says."""
    return hci.Address(bytes(command.peer_address), hci.AddressType(command.peer_address_type & 1))
