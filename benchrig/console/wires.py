"""Consoles on a wire: a serial line, or a TCP connection."""

from __future__ import annotations

import asyncio
import contextlib
import os
import threading
from abc import ABC, abstractmethod
from typing import TYPE_CHECKING, Any

from benchrig.console.console import Console
from benchrig.errors import StationError
from benchrig.threads import in_thread

if TYPE_CHECKING:
    from benchrig.console.choice import ConsoleChoice
    from benchrig.console.log import Keeping

_PART = 4096
# How often a wire that went with the power is looked for, in seconds.
_LOOK_EVERY = 0.1
# Octets that wait for a server which takes none.
_MOST_WAITING = 64 * 1024
OPEN_WITHIN = 5.0
# What a wire may take to take a line, in seconds.
SEND_WITHIN = 2.0
_UNPLUGGED = "see whether the cable is plugged in and the unit has power"


class WiredConsole:
    """Make it with `open`. The unit may power the wire, so a wire that went with the power is opened again with it."""

    _wire: Wire

    def __init__(self, choice: ConsoleChoice, keeping: Keeping | None) -> None:
        self.console = Console(f"the console {choice}", keeping)
        self.console.is_sure = False
        self.console.reopen = self._reopen
        self._choice = choice

    @classmethod
    async def open(cls, choice: ConsoleChoice, keeping: Keeping | None) -> WiredConsole:
        """StationError when it cannot be opened."""
        wired = cls(choice, keeping)
        await wired._open()
        return wired

    async def _open(self) -> None:
        kind: type[_SerialWire | _TcpWire] = _SerialWire if self._choice.kind == "serial" else _TcpWire
        self._wire = await kind.open(self._choice, self.console)
        self.console.sender = self._wire.send

    async def _reopen(self, within: float) -> None:
        """As soon as it is there again. StationError when it is not in time."""
        loop = asyncio.get_running_loop()
        end = loop.time() + within
        while True:
            try:
                await self._open()
                return
            except StationError:
                if loop.time() + _LOOK_EVERY > end:
                    raise
            await asyncio.sleep(_LOOK_EVERY)

    async def close(self) -> None:
        await self._wire.close()
        self.console.close()


class Wire(ABC):
    """Reads into a console until it is closed, or until nothing comes any more."""

    def __init__(self, choice: ConsoleChoice, console: Console) -> None:
        self._choice, self._console = choice, console
        self._is_closing = False

    @abstractmethod
    async def send(self, text: str) -> None:
        """A line. StationError when the wire takes none."""

    @abstractmethod
    async def close(self) -> None: ...

    def _lost(self, why: str) -> None:
        if not self._is_closing:
            self._console.lose(StationError(f"the console {self._choice} is gone: {why}", advice=_UNPLUGGED))


class _SerialWire(Wire):
    """A thread reads: not every system lets a loop watch a serial port. One part is on its way at a time, so a flood waits in
    the system's buffer."""

    def __init__(self, choice: ConsoleChoice, console: Console, port: Any) -> None:
        super().__init__(choice, console)
        self._port = port
        self._loop = asyncio.get_running_loop()
        self._reading = in_thread(self._read)

    @classmethod
    async def open(cls, choice: ConsoleChoice, console: Console) -> Wire:
        import serial  # type: ignore[import-untyped]

        try:
            port = serial.Serial(choice.place, choice.number, timeout=None, write_timeout=SEND_WITHIN)
        except (OSError, ValueError) as exc:
            raise StationError(
                f"the console {choice} cannot be opened: {_reason(exc)}", advice="name another port with --console"
            ) from exc
        return cls(choice, console, port)

    def _read(self) -> None:
        why = "the port was closed"
        with contextlib.suppress(RuntimeError):  # the loop is closed
            try:
                while data := self._port.read(max(1, min(_PART, self._port.in_waiting))):
                    taken = threading.Event()
                    self._loop.call_soon_threadsafe(self._take, data, taken)
                    taken.wait()
            except Exception as exc:  # pyserial raises what the system's calls do, and errors of its own
                why = _reason(exc)
            self._loop.call_soon_threadsafe(self._lost, why)

    def _take(self, data: bytes, taken: threading.Event) -> None:
        self._console.feed(data)
        taken.set()

    async def send(self, text: str) -> None:
        done = await in_thread(lambda: self._port.write(text.encode() + b"\n"))
        if done.error is not None:
            message = f"the console {self._choice} takes no input: {_reason(done.error)}"
            raise StationError(message, advice=_UNPLUGGED) from done.error

    async def close(self) -> None:
        self._is_closing = True
        with contextlib.suppress(Exception):
            self._port.cancel_read()
        await asyncio.wait({self._reading}, timeout=1.0)
        with contextlib.suppress(Exception):
            self._port.close()


class _TcpWire(Wire, asyncio.Protocol):
    """A server of a serial port, an emulator."""

    _transport: asyncio.Transport

    @classmethod
    async def open(cls, choice: ConsoleChoice, console: Console) -> Wire:
        loop = asyncio.get_running_loop()
        wire = cls(choice, console)
        try:
            async with asyncio.timeout(OPEN_WITHIN):
                await loop.create_connection(lambda: wire, choice.place, choice.number)
        except OSError as exc:  # TimeoutError is one
            raise StationError(
                f"the console {choice} cannot be opened: {_reason(exc) or 'no answer'}",
                advice="see whether its server runs",
            ) from exc
        return wire

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        self._console.feed(data)

    def connection_lost(self, exc: Exception | None) -> None:
        self._lost(_reason(exc) if exc else "its server has closed the connection")

    async def send(self, text: str) -> None:
        if self._transport.get_write_buffer_size() > _MOST_WAITING:
            raise StationError(f"the console {self._choice} takes no input", advice=_UNPLUGGED)
        self._transport.write(text.encode() + b"\n")

    async def close(self) -> None:
        self._is_closing = True
        self._transport.abort()
        await asyncio.sleep(0)


def _reason(exc: BaseException) -> str:
    """In the words of the system, where it is the system's."""
    number = exc.errno if isinstance(exc, OSError) else None
    return os.strerror(number) if number else str(exc).partition("\n")[0]
