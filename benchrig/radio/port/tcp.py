"""A port on TCP: listens; one host at a time."""

from __future__ import annotations

import asyncio
import socket
from typing import Any

from benchrig.errors import StationError
from benchrig.radio.port.choice import PortChoice
from benchrig.radio.port.port import HciPort

# Octets that wait for a host which takes none.
MAX_WAITING = 1024 * 1024


class TcpDoor:
    """Make it with `open`. `address` is where it listens: '127.0.0.1:9001'."""

    def __init__(self, server: asyncio.Server) -> None:
        self._server = server
        host, number = server.sockets[0].getsockname()[:2]
        self.address = f"[{host}]:{number}" if ":" in host else f"{host}:{number}"

    @classmethod
    async def open(cls, choice: PortChoice, port: HciPort) -> TcpDoor:
        """Raises StationError when this machine does not let it listen there."""
        try:
            listener = _listen(choice.host, choice.number)
        except OSError as exc:
            raise StationError(
                f"--port {choice} cannot be opened: {exc.strerror or exc}", advice="choose a free port of this computer"
            ) from exc
        return cls(await asyncio.get_running_loop().create_server(lambda: _Caller(port), sock=listener))

    def renew(self) -> None:
        """Each host has a connection of its own: nothing is left of the last one."""

    async def close(self) -> None:
        self._server.close()
        await asyncio.sleep(0)


def _listen(host: str, number: int) -> socket.socket:
    family, kind, _, _, place = socket.getaddrinfo(host, number, type=socket.SOCK_STREAM)[0]
    # With any other protocol number asyncio leaves Nagle's algorithm on: 23 reads a second instead of 900.
    listener = socket.socket(family, kind, socket.IPPROTO_TCP)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(place)
        listener.listen()
    except BaseException:
        listener.close()
        raise
    return listener


class _Caller(asyncio.Protocol):
    """One connection."""

    def __init__(self, port: HciPort) -> None:
        self._port = port
        self._accepted = False
        self._transport: Any = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport
        self._accepted = self._port.arrive(self._send, self._transport.abort)
        if not self._accepted:
            self._transport.abort()

    def _send(self, packet: bytes) -> None:
        self._transport.write(packet)
        if self._transport.get_write_buffer_size() > MAX_WAITING:
            self._port.refuse("the firmware takes no more data")

    def data_received(self, data: bytes) -> None:
        if self._accepted:
            self._port.receive(data)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._accepted:
            self._port.leave()
