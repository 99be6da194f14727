"""A capture of what the bench's host and its controller say to each other, as btsnoop.

Times are the loop's, from a fixed date on, so that a virtual run repeats byte for byte. A capture of a pairing
contains its keys. Format: Frontline/Symbian btsnoop, data link 1002 (H4); epoch 0x00E03AB44A676000 is 2000-01-01.
"""

from __future__ import annotations

import asyncio
import struct
from typing import TYPE_CHECKING

from bumble.hci import HCI_COMMAND_PACKET, HCI_EVENT_PACKET
from bumble.snoop import BtSnooper, Snooper

from benchrig.errors import StationError

if TYPE_CHECKING:
    from pathlib import Path

# 2026-01-01T00:00:00Z
START = BtSnooper.TIMESTAMP_DELTA + (1767225600 - 946684800) * 1_000_000
_RECORD = struct.Struct(">IIIIQ")


class Capture(Snooper):
    """Writes each packet as it comes; `close` flushes. StationError when the file cannot be written."""

    def __init__(self, path: Path) -> None:
        try:
            self._file = path.open("wb")
        except OSError as exc:
            raise StationError(f"the capture {path} cannot be written: {exc.strerror or exc}") from exc
        self._file.write(b"btsnoop\0" + struct.pack(">II", 1, Snooper.DataLinkType.H4))
        self._loop = asyncio.get_running_loop()
        self._start = self._loop.time()

    def snoop(self, hci_packet: bytes, direction: Snooper.Direction) -> None:
        is_control = hci_packet[0] in (HCI_EVENT_PACKET, HCI_COMMAND_PACKET)
        flags = int(direction) | (2 if is_control else 0)
        at = START + round((self._loop.time() - self._start) * 1e6)
        self._file.write(_RECORD.pack(len(hci_packet), len(hci_packet), flags, 0, at) + hci_packet)

    def close(self) -> None:
        self._file.close()
