"""bumble's software controller, with what a bench needs put right.

It is a legacy-advertising controller of Bluetooth 5.0 (2M and coded PHY, data length extension): advertising and
scan response apart, directed advertising, passive and active scans, connectable or not, an accept list, a signal strength,
connections that can be cancelled, with their real parameters at both ends, from a public address too, keys that are
refreshed.
"""

from __future__ import annotations

from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.virtual.airlink import End
from benchrig.radio.virtual.band import Advertiser
from benchrig.radio.virtual.controller.base import Surroundings
from benchrig.radio.virtual.controller.connecting import Connects
from benchrig.radio.virtual.controller.encryption import Encrypts
from benchrig.radio.virtual.controller.links import Links

__all__ = ["Surroundings", "VirtualController"]


class VirtualController(Connects, Encrypts, Links):
    """A controller in the air. Its host hangs on it as on any transport: it is both source and sink."""

    def on_hci_reset_command(self, _command: hci.HCI_Reset_Command) -> hci.HCI_StatusReturnParameters:
        for end in list(self.le_connections.values()):
            if isinstance(end, End):
                end.air_link.end_later(end.air_link.timing.timeout_seconds, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)
                del self.le_connections[end.peer_address]
        self.power_down()
        return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode.SUCCESS)

    def power_down(self) -> None:
        """No advertising, no scan, no connection under way; the accept list is empty."""
        self.stop_advertising()
        self.le_scan_enable = False
        self.le_scanning_filter_policy = 0
        self.pending_le_connection = None
        self.air.band.unlisten(self)
        self.accept_list.clear()

    def on_advertising(self, advertiser: Advertiser, rssi: int, answer: int | None) -> None:
        """An advertising event was heard; `answer` is the level of a scan response, None for none."""
        self.report_advertising(advertiser, rssi, answer)
        if self.wants_to_connect(advertiser):
            self.connect_to(advertiser)

    def lists_in_use(self) -> bool:
        """Whether the accept list decides about something that is under way (Core Vol 4 Part E 7.8.15 to 7.8.17)."""
        return self.advertises_by_list or self.scans_by_list or self.connects_by_list
