"""A capture of what the bench's host and its controller say to each other, as btsnoop.

Times are the loop's, from a fixed date on, so that a virtual run repeats byte for byte. A capture of a pairing
contains its keys. Format: Frontline/Symbian btsnoop, data link 1002 (H4); epoch 0x00E03AB44A676000 is 2000-01-01.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import stat
import struct
from typing import TYPE_CHECKING

from benchrig.errors import StationError
from benchrig.radio.bumble_stack.bumble_api import BtSnooper, Snooper, hci

if TYPE_CHECKING:
    from pathlib import Path

# 2026-01-01T00:00:00Z
START = BtSnooper.TIMESTAMP_DELTA + (1767225600 - 946684800) * 1_000_000
ANOTHER_NAME = "remove it, or name another file"
_RECORD = struct.Struct(">IIIIQ")


class Capture(Snooper):
    """Writes each packet as it comes. StationError when the file cannot be opened; a disk that fills up ends the
    capture and not the run: `close` raises a StationError then."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            self._file = os.fdopen(os.open(path, _flags(path), 0o600), "wb")
        except FileExistsError as exc:
            raise StationError(f"the capture {path} already exists", advice=ANOTHER_NAME) from exc
        except OSError as exc:
            raise self._unwritable(exc) from exc
        self._trouble: OSError | None = None
        self._loop = asyncio.get_running_loop()
        self._start = self._loop.time()
        self._write(b"btsnoop\0" + struct.pack(">II", 1, Snooper.DataLinkType.H4))

    def snoop(self, hci_packet: bytes, direction: Snooper.Direction) -> None:
        is_control = hci_packet[0] in (hci.HCI_EVENT_PACKET, hci.HCI_COMMAND_PACKET)
        flags = int(direction) | (2 if is_control else 0)
        at = START + round((self._loop.time() - self._start) * 1e6)
        self._write(_RECORD.pack(len(hci_packet), len(hci_packet), flags, 0, at) + hci_packet)

    def _write(self, octets: bytes) -> None:
        if self._trouble is None and not self._file.closed:
            try:
                self._file.write(octets)
            except OSError as exc:
                self._trouble = exc

    def close(self) -> None:
        try:
            self._file.close()
        except OSError as exc:
            self._trouble = self._trouble or exc
        if self._trouble is not None:
            raise self._unwritable(self._trouble) from self._trouble

    def _unwritable(self, exc: OSError) -> StationError:
        return StationError(f"the capture {self._path} cannot be written: {exc.strerror or exc}")


def _flags(path: Path) -> int:
    """A new file, of this user alone and through no link: it may hold keys. Or a pipe or a device that is there."""
    state = None
    with contextlib.suppress(OSError):
        state = path.stat().st_mode
    is_special = state is not None and not stat.S_ISREG(state)
    binary = getattr(os, "O_BINARY", 0)  # Windows
    return os.O_WRONLY | binary | (0 if is_special else os.O_CREAT | os.O_EXCL)
