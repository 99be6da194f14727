"""The controller scans: what it reports to its host (Core Vol 4 Part E 7.8.10, Vol 6 Part B 4.3.3)."""

from __future__ import annotations

from typing import Any

from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.virtual.band import Advertiser
from benchrig.radio.virtual.controller.base import Base, is_same

_ADV_IND, _ADV_DIRECT_IND, _ADV_SCAN_IND, _ADV_NONCONN_IND, _SCAN_RSP = range(5)
_REPORT, _DIRECTED_REPORT = 0x02, 0x0B  # subevents, 7.7.65.2 and 7.7.65.11
# Bits of the filter policy: those of the accept list alone; directed advertising to a private address that may be ours
_LISTED, _TO_PRIVATE = 1, 2
_UNIT = 0.625e-3  # s, of scan intervals and windows


class Scans(Base):
    le_scanning_filter_policy = 0

    def __init__(self, *arguments: Any, **more: Any) -> None:
        super().__init__(*arguments, **more)
        self._reported: set[tuple[bytes, int]] = set()

    def on_hci_le_set_scan_enable_command(
        self, command: hci.HCI_LE_Set_Scan_Enable_Command
    ) -> hci.HCI_StatusReturnParameters:
        self._reported.clear()
        result = super().on_hci_le_set_scan_enable_command(command)
        self.listen_or_not()
        return result

    def listen_or_not(self) -> None:
        if self.le_scan_enable or self.pending_le_connection:
            self.air.band.listen(self)
        else:
            self.air.band.unlisten(self)

    @property
    def scans_actively(self) -> bool:
        return bool(self.le_scan_enable) and self.le_scan_type == 1

    @property
    def asks_as(self) -> hci.Address:
        return self.own_address(self.le_scan_own_address_type)

    @property
    def scan_timing(self) -> tuple[float, float]:
        """Interval and window, in seconds: those of the scan, or of the connection that is waited for."""
        asked: Any = self if self.le_scan_enable or not self.pending_le_connection else self.pending_le_connection
        return asked.le_scan_interval * _UNIT, asked.le_scan_window * _UNIT

    @property
    def scans_by_list(self) -> bool:
        return bool(self.le_scan_enable and self.le_scanning_filter_policy & _LISTED)

    def report_advertising(self, advertiser: Advertiser, rssi: int, answer: int | None) -> None:
        """Tell the host of an event, if it scans and the event passes its filter."""
        if not self.le_scan_enable or (self.scans_by_list and not self.accept_list.has(advertiser.address)):
            return
        target = advertiser.directed_to
        if target is not None and not is_same(target, self.asks_as):
            if self.le_scanning_filter_policy & _TO_PRIVATE and target.is_resolvable:
                self._report_directed(advertiser, target, rssi)
            return
        self._report(_kind_of(advertiser), advertiser, advertiser.said, rssi)
        if answer is not None and self.le_scan_type == 1:
            self._report(_SCAN_RSP, advertiser, advertiser.scan_response, answer)

    def _report(self, kind: int, advertiser: Advertiser, data: bytes, rssi: int) -> None:
        if not self._is_double(kind, advertiser):
            said = _head(_REPORT, kind, advertiser.address) + bytes((len(data),)) + data
            self._send_meta(said + _level(rssi))

    def _report_directed(self, advertiser: Advertiser, target: hci.Address, rssi: int) -> None:
        """To a resolvable private address that only the host can tell to be its own."""
        if not self._is_double(_ADV_DIRECT_IND, advertiser):
            head = _head(_DIRECTED_REPORT, _ADV_DIRECT_IND, advertiser.address)
            self._send_meta(head + bytes((target.address_type,)) + bytes(target) + _level(rssi))

    def _is_double(self, kind: int, advertiser: Advertiser) -> bool:
        key = bytes(advertiser.address), kind
        known = key in self._reported
        if self.filter_duplicates:
            self._reported.add(key)
        return known

    def _send_meta(self, body: bytes) -> None:
        self.to_host(b"\x04\x3e" + bytes((len(body),)) + body)


def _head(subevent: int, kind: int, address: hci.Address) -> bytes:
    """Of one report."""
    return bytes((subevent, 1, kind, address.address_type)) + bytes(address)


def _level(rssi: int) -> bytes:
    return (rssi & 0xFF).to_bytes(1, "little")


def _kind_of(advertiser: Advertiser) -> int:
    """The type of its advertising PDUs, as reports have it."""
    if advertiser.directed_to is not None:
        return _ADV_DIRECT_IND
    return _ADV_IND if advertiser.connectable else _ADV_SCAN_IND if advertiser.scannable else _ADV_NONCONN_IND
