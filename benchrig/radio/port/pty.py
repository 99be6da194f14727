"""A port on a pseudo terminal, for hosts that speak HCI over a serial line."""

from __future__ import annotations

import asyncio
import contextlib
import os
import select
from pathlib import Path

from benchrig.errors import StationError
from benchrig.radio.port.choice import PortChoice
from benchrig.radio.port.pathlock import PathLock
from benchrig.radio.port.port import HciPort

# How often a terminal that nobody has open is looked at.
LOOK_EVERY = 0.02
MAX_WAITING = 1024 * 1024


class PtyDoor:
    """Make it with `open`. `address` is the path of a link to the terminal; it goes when the door is closed.

    Only the bench's side is held open here: so the system tells when the host opens its side, and when it is gone.
    """

    def __init__(self, choice: PortChoice, port: HciPort) -> None:
        self.address = choice.path
        self._link = Path(choice.path)
        self._port = port
        self._lock: PathLock | None = None
        self._loop = asyncio.get_running_loop()
        self._ours = -1
        self._theirs = ""
        self._waiting = b""
        self._timer: asyncio.TimerHandle | None = None
        self._is_open = False

    @classmethod
    async def open(cls, choice: PortChoice, port: HciPort) -> PtyDoor:
        """Raises StationError when the link cannot be made, or another run has it."""
        door = cls(choice, port)
        try:
            door._lock = PathLock.take(door._link)
            door._make()
        except FileExistsError as exc:
            await door.close()
            raise StationError(
                f"--port {choice} cannot be opened: there is a file of that name",
                advice="remove it, or name another link",
            ) from exc
        except OSError as exc:
            await door.close()
            raise StationError(
                f"--port {choice} cannot be opened: {exc.strerror or exc}", advice="name a link that can be made"
            ) from exc
        return door

    def _make(self) -> None:
        """A new terminal in raw mode, with the link to it."""
        import pty
        import tty

        self._ours, theirs = pty.openpty()
        self._theirs = os.ttyname(theirs)
        tty.setraw(theirs)
        os.close(theirs)
        os.set_blocking(self._ours, False)
        assert self._lock is not None
        if self._lock.left and self._link.is_symlink() and os.readlink(self._link) == self._lock.left:
            self._link.unlink()  # left by a run that was killed
        self._link.symlink_to(self._theirs)
        self._lock.leads_to(self._theirs)
        self._look()

    def _look(self) -> None:
        """Is there somebody at the other side?"""
        poll = select.poll()
        poll.register(self._ours, select.POLLIN)
        events = poll.poll(0)
        if any(event & select.POLLHUP and not event & select.POLLIN for _, event in events):
            self._timer = self._loop.call_later(LOOK_EVERY, self._look)
            return
        self._is_open = True
        self._port.arrive(self._send, self._hang_up)
        self._loop.add_reader(self._ours, self._read)

    def _read(self) -> None:
        try:
            data = os.read(self._ours, 65536)
        except BlockingIOError:
            return
        except OSError:  # EIO: the other side is closed, and everything it wrote has been read
            data = b""
        if data:
            self._port.receive(data)
        else:
            self._gone()

    def _gone(self) -> None:
        self._stop_listening()
        self._port.leave()
        self._look()

    def _send(self, packet: bytes) -> None:
        if not self._waiting:
            self._loop.add_writer(self._ours, self._write)
        self._waiting += packet
        if len(self._waiting) > MAX_WAITING:
            self._port.refuse("the firmware takes no more data")
        else:
            self._write()

    def _write(self) -> None:
        try:
            written = os.write(self._ours, self._waiting)
        except BlockingIOError:
            return
        except OSError:
            written = len(self._waiting)
        self._waiting = self._waiting[written:]
        if not self._waiting:
            self._loop.remove_writer(self._ours)

    def renew(self) -> None:
        """What the last host has not read is not for the next one."""
        self._hang_up()

    def _hang_up(self) -> None:
        """Close this terminal for good, which its host notices, and make another one for the next host."""
        was_open = self._is_open
        self._close_terminal()
        if was_open:
            self._port.leave()
        self._make()

    def _stop_listening(self) -> None:
        if self._is_open:
            self._is_open = False
            self._waiting = b""
            self._loop.remove_reader(self._ours)
            self._loop.remove_writer(self._ours)

    def _close_terminal(self) -> None:
        self._stop_listening()
        if self._timer:
            self._timer.cancel()
        if self._ours >= 0:
            os.close(self._ours)
            self._ours = -1
        with contextlib.suppress(OSError):
            if os.readlink(self._link) == self._theirs:
                self._link.unlink()

    async def close(self) -> None:
        was_open = self._is_open
        self._close_terminal()
        if self._lock:
            self._lock.release()
            self._lock = None
        if was_open:
            self._port.leave()
