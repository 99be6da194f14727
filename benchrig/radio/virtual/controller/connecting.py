"""The controller connects: as whom, to whom, and what its host is told (Core Vol 4 Part E 7.8.12, 7.7.65.1)."""

from __future__ import annotations

import asyncio
from typing import Any

from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.virtual.airlink import End
from benchrig.radio.virtual.band import Advertiser
from benchrig.radio.virtual.carrier import Timing
from benchrig.radio.virtual.controller.advertising import Advertises
from benchrig.radio.virtual.controller.base import DISALLOWED, SUCCESS, UNKNOWN, is_same, status
from benchrig.radio.virtual.controller.scanning import Scans

_BY_LIST = 1  # initiator filter policy: whoever of the accept list is heard first


class Connects(Advertises, Scans):
    def on_hci_le_create_connection_command(self, command: hci.HCI_LE_Create_Connection_Command) -> None:
        super().on_hci_le_create_connection_command(command)
        self.listen_or_not()

    def on_hci_le_create_connection_cancel_command(
        self, _command: hci.HCI_LE_Create_Connection_Cancel_Command
    ) -> hci.HCI_StatusReturnParameters:
        pending, self.pending_le_connection = self.pending_le_connection, None
        if pending is None:
            return status(DISALLOWED)
        self.listen_or_not()
        # The word that the connect has ended comes behind the answer to this command.
        said = UNKNOWN, 0, hci.Role.CENTRAL, pending.peer_address, Timing(0, 0, 0)
        asyncio.get_running_loop().call_soon(self.send_connection_complete, *said)
        return status(SUCCESS)

    @property
    def connects_by_list(self) -> bool:
        pending = self.pending_le_connection
        return pending is not None and pending.initiator_filter_policy == _BY_LIST

    def wants_to_connect(self, advertiser: Advertiser) -> bool:
        """Whether it is this one that a connection is waited for, and one that may be connected to by us."""
        pending = self.pending_le_connection
        if pending is None or not advertiser.connectable:
            return False
        target = advertiser.directed_to
        if target is not None and not is_same(target, self.own_address(pending.own_address_type)):
            return False
        if self.connects_by_list:
            return self.accept_list.has(advertiser.address)
        return bool(pending.peer_address == advertiser.address)

    def connect_to(self, advertiser: Advertiser) -> None:
        pending: Any = self.pending_le_connection
        self.pending_le_connection = None
        self.listen_or_not()
        own = self.own_address(pending.own_address_type)
        interval = self.air.interval_of(pending.connection_interval_min, pending.connection_interval_max)
        timing = Timing(interval, pending.max_latency, pending.supervision_timeout)
        self.air.connect(self, own, advertiser, timing)

    def on_link_open(self, end: End, timing: Timing) -> None:
        """A connection of this controller has come about; an advertiser stops with it."""
        if end.role == hci.Role.PERIPHERAL:
            self.stop_advertising()
        self.send_connection_complete(SUCCESS, end.handle, end.role, end.peer_address, timing)
