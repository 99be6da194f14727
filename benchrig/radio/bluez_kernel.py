"""What the Linux kernel tells of its Bluetooth links to whoever has the right: beside BlueZ, which hides it.

The management channel tells which keys a pairing has made and why a link ended, and lets Secure Connections be turned off (it
takes CAP_NET_ADMIN); the monitor channel shows every packet, so why a pairing failed and who said so (CAP_NET_RAW). No
key is kept: only what kind it is. (BlueZ doc/mgmt-api.txt and doc/btmon; Core Vol 4 Part E 7.7, Vol 3 Part H 3.5.)
"""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import os
import socket
import struct
from collections.abc import Callable
from dataclasses import dataclass

from benchrig.errors import StationError
from benchrig.radio.security import Features, Side, reason_in_words

_AF_BLUETOOTH, _BTPROTO_HCI = 31, 1
_NO_INDEX, _MONITOR, _CONTROL = 0xFFFF, 2, 3
_HEAD = struct.Struct("<HHH")
ANSWER_WITHIN = 3.0
# Commands of the management channel
READ_INFO, GET_CONNECTIONS, SET_SECURE_CONNECTIONS = 0x0004, 0x0015, 0x002D
ADD_OOB_DATA, REMOVE_OOB_DATA = 0x0021, 0x0022
SECURE_CONNECTIONS = (
    1 << 11
)  # of the current settings, which stand behind address, version, company, supported settings
_COMPLETE, _STATUS, _NEW_KEY, _NEW_IRK, _DISCONNECTED = 0x0001, 0x0002, 0x000A, 0x0018, 0x000C
# Of the monitor channel
_EVENT, _SENT, _RECEIVED = 3, 4, 5
_SMP, _PAIRING_REQUEST, _PAIRING_RESPONSE, _PAIRING_FAILED = 0x0006, 0x01, 0x02, 0x05
# Secure Connections in the authentication requirements (Core Vol 3 Part H 3.5.1)
_SECURE = 0x08
# Why the management channel says that a link ended
BY_AUTHENTICATION = 4


@dataclass(frozen=True)
class Key:
    """A key of a pairing: of Secure Connections, made under protection against a man in the middle, its octets, and
    whether everybody knows it, who has read the specification."""

    secure_connections: bool
    authenticated: bool
    size: int
    debug: bool = False


@dataclass
class Heard:
    """What was told about one device since it was made. `failed` is a reason of Pairing Failed and who sent it, `refused`
    the HCI error with which an encryption did not begin, or that ended the link; `ended` the management channel's word for
    why the link ended. None for what was not told."""

    address: str
    identity: str = ""
    key: Key | None = None
    failed: tuple[str, Side] | None = None
    # None while no connection was seen
    encrypted: bool | None = None
    refused: int | None = None
    ended: int | None = None
    requests: int = 0
    # what the two said of themselves before the last pairing
    own: Features | None = None
    features: Features | None = None
    # loop time of the last packet of a pairing
    last_at: float = 0.0

    @property
    def agreed(self) -> tuple[bool, int] | None:
        """Whether the two offered Secure Connections, and the size of key that they agreed on; None for what was not seen.
        No key is told of a pairing by the legacy procedure that gives none out, for want of bonding."""
        if self.own is None or self.features is None:
            return None
        both = self.own.auth_req & self.features.auth_req
        return bool(both & _SECURE), min(self.own.key_size, self.features.key_size)


class Kernel:
    """The channels that this user may open, for one adapter; `manages` and `sees` say which ones there are."""

    def __init__(self, adapter: str) -> None:
        self._index = int(adapter.removeprefix("hci"))
        self._control: socket.socket | None = None
        self._monitor: socket.socket | None = None
        self._waiting: dict[int, asyncio.Future[tuple[int, bytes]]] = {}
        self._handles: dict[int, str] = {}
        self._listeners: list[Heard] = []

    @property
    def manages(self) -> bool:
        return self._control is not None

    @property
    def sees(self) -> bool:
        return self._monitor is not None

    async def open(self) -> None:
        """Open what may be opened; nothing is raised for what may not."""
        self._control = self._opened(_CONTROL, self._on_control)
        self._monitor = self._opened(_MONITOR, self._on_monitor)
        # anybody may have the channel, few are told anything on it
        if self._control is not None and await self._is_stranger():
            self._let_go(self._control)
            self._control = None

    def close(self) -> None:
        for channel in filter(None, (self._control, self._monitor)):
            self._let_go(channel)
        self._control = self._monitor = None

    def listen(self, address: str) -> Heard:
        """What comes from now on about a device; what was heard of it before is not kept any further."""
        self._listeners = [one for one in self._listeners if one.address != address]
        heard = Heard(address, last_at=asyncio.get_running_loop().time())
        self._listeners.append(heard)
        return heard

    def catch_up(self) -> None:
        """Take in what has come already: what BlueZ says may be read before it."""
        for channel, on_packet in ((self._control, self._on_control), (self._monitor, self._on_monitor)):
            if channel is not None:
                _drain(channel, on_packet)

    async def command(self, opcode: int, parameters: bytes = b"") -> bytes:
        """StationError when the kernel refuses it, or does not answer."""
        status, answer = await self._asked(opcode, parameters)
        if status:
            raise StationError(f"the kernel refuses management command 0x{opcode:04X} (status 0x{status:02X})")
        return answer

    async def _asked(self, opcode: int, parameters: bytes) -> tuple[int, bytes]:
        assert self._control is not None
        answer: asyncio.Future[tuple[int, bytes]] = asyncio.get_running_loop().create_future()
        self._waiting[opcode] = answer
        self._control.send(_HEAD.pack(opcode, self._index, len(parameters)) + parameters)
        try:
            async with asyncio.timeout(ANSWER_WITHIN):
                return await answer
        except TimeoutError as exc:
            raise StationError("the kernel's management channel does not answer") from exc
        finally:
            del self._waiting[opcode]

    async def _is_stranger(self) -> bool:
        try:
            await self.command(GET_CONNECTIONS)
        except StationError:
            return True
        return False

    def _opened(self, channel: int, on_packet: Callable[[bytes], None]) -> socket.socket | None:
        try:
            made = _bound(channel)
        except OSError:
            return None
        asyncio.get_running_loop().add_reader(made.fileno(), _drain, made, on_packet)
        return made

    def _let_go(self, channel: socket.socket) -> None:
        asyncio.get_running_loop().remove_reader(channel.fileno())
        channel.close()

    # --- what comes

    def _about(self, address: str) -> list[Heard]:
        return [one for one in self._listeners if address and address in (one.address, one.identity)]

    def _on_control(self, packet: bytes) -> None:
        event, index, _ = _HEAD.unpack_from(packet)
        data = packet[_HEAD.size :]
        if event in (_COMPLETE, _STATUS):
            opcode = int.from_bytes(data[:2], "little")
            if (answer := self._waiting.get(opcode)) is not None and not answer.done():
                answer.set_result((data[2], data[3:]))
        elif index == self._index:
            self._on_news(event, data)

    def _on_news(self, event: int, data: bytes) -> None:
        if event == _NEW_IRK:
            for heard in self._about(_address(data[1:7])):
                heard.identity = _address(data[7:13])
        elif event == _NEW_KEY:
            for heard in self._about(_address(data[1:7])):
                heard.key = _key(data)
        elif event == _DISCONNECTED:
            for heard in self._about(_address(data[:6])):
                heard.ended = data[7]

    def _on_monitor(self, packet: bytes) -> None:
        kind, index, _ = _HEAD.unpack_from(packet)
        data = packet[_HEAD.size :]
        if index != self._index:
            return
        if kind == _EVENT:
            self._on_event(data)
        elif kind in (_SENT, _RECEIVED) and int.from_bytes(data[6:8], "little") == _SMP and len(data) > 8:
            handle = int.from_bytes(data[:2], "little") & 0x0FFF
            for heard in self._about(self._handles.get(handle, "")):
                _on_pairing(heard, data[8:], "bench" if kind == _SENT else "device")

    def _on_event(self, event: bytes) -> None:
        code, data = event[0], event[2:]
        if code == 0x3E and data[0] in (0x01, 0x0A) and data[1] == 0:  # LE (Enhanced) Connection Complete
            self._on_connection(int.from_bytes(data[2:4], "little"), _address(data[6:12]))
        elif code == 0x05:  # Disconnection Complete
            for heard in self._about(self._handles.pop(int.from_bytes(data[1:3], "little"), "")):
                heard.refused = heard.refused or (data[3] if data[3] in _OF_KEYS else None)
        elif code in (0x08, 0x59):  # Encryption Change
            for heard in self._about(self._handles.get(int.from_bytes(data[1:3], "little"), "")):
                heard.encrypted = data[0] == 0 and data[3] != 0
                heard.refused = heard.refused or data[0] or None

    def _on_connection(self, handle: int, address: str) -> None:
        """On the air a bonded device may have an address that nobody else knows: it is the one that is connected to now."""
        about = self._about(address)
        if not about and 0x40 <= int(address[:2], 16) < 0x80:  # resolvable (Core Vol 6 Part B 1.3.2.2)
            about = self._listeners[-1:]
        self._handles[handle] = about[0].address if about else address
        for heard in about:
            heard.encrypted = False


# HCI errors that are about keys: authentication failure, PIN or key missing, MIC failure (Core Vol 1 Part F 1.3)
_OF_KEYS = (0x05, 0x06, 0x3D)


def _on_pairing(heard: Heard, pdu: bytes, sender: Side) -> None:
    heard.last_at = asyncio.get_running_loop().time()
    if pdu[0] == _PAIRING_REQUEST:
        heard.requests += 1
        heard.own = _features(pdu)
    elif pdu[0] == _PAIRING_RESPONSE:
        heard.features = _features(pdu)
    elif pdu[0] == _PAIRING_FAILED and len(pdu) > 1 and heard.failed is None:
        heard.failed = (reason_in_words(pdu[1]), sender)


def _features(pdu: bytes) -> Features | None:
    """Of a request or a response."""
    if len(pdu) != 7:
        return None
    io, oob, auth, size, ours, its = pdu[1:]
    return Features(io, oob, auth, size, ours, its)


def _key(data: bytes) -> Key:
    """New Long Term Key: the hint to store it, address and its type, then the kind of key: 0 and 1 of legacy pairing, 2 to 4 of
    Secure Connections, 1 and 3 authenticated (4: made with the debug keys); whose it is, and its size."""
    kind = data[8]
    return Key(kind >= 2, kind in (1, 3), data[10], kind == 4)


def _address(octets: bytes) -> str:
    return ":".join(f"{octet:02X}" for octet in reversed(octets))


def _drain(channel: socket.socket, on_packet: Callable[[bytes], None]) -> None:
    with contextlib.suppress(OSError):
        while packet := channel.recv(4096):
            on_packet(packet)


def _bound(channel: int) -> socket.socket:
    """A socket on this channel. Python's own bind knows none before 3.14. Raises OSError."""
    made = socket.socket(_AF_BLUETOOTH, socket.SOCK_RAW | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK, _BTPROTO_HCI)
    libc = ctypes.CDLL(None, use_errno=True)
    address = _HEAD.pack(_AF_BLUETOOTH, _NO_INDEX, channel)
    if libc.bind(made.fileno(), address, len(address)):
        made.close()
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))
    return made
