"""Raw octets over one connection: bumble hears nothing of them, so it neither throws nor loses count.

bumble's client takes answers for those to its own requests, and ends what it cannot parse. While a RawChannels is open it
takes all frames of its connection first.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from typing import TYPE_CHECKING

from benchrig.radio.raw import Frame
from benchrig.values.att_errors import REQUEST_NOT_SUPPORTED
from benchrig.values.channels import ATT, SIGNALLING, SMP

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.host import StackHost
    from benchrig.radio.bumble_stack.link import ClientLink

# ATT PDUs that a server sends unasked, and what answers an indication (Core Vol 3 Part F 3.4.7)
_NOTIFICATION, _INDICATION, _SEVERAL = 0x1B, 0x1D, 0x23
_CONFIRMATION = b"\x1e"
_SHORTEST_UPDATE = 3
# Requests that a unit sends as a client (3.4.1.1)
_REQUESTS = frozenset({0x02, 0x04, 0x06, 0x08, 0x0A, 0x0C, 0x0E, 0x10, 0x12, 0x16, 0x18, 0x20})
# Connection Parameter Update Request (Core Vol 3 Part A 4.20) and Security Request (Part H 3.6.7), with their lengths
_UPDATE_REQUEST, _SECURITY_REQUEST = (0x12, 12), (0x0B, 2)


class RawChannels:
    """Made for a link that is up, and opened: `host` leads its frames here until `close`."""

    def __init__(self, host: StackHost, link: ClientLink) -> None:
        self._host, self._link = host, link
        self._handle: int = link.connection.handle
        self._heard: deque[Frame] = deque()
        self._waiter: asyncio.Future[None] | None = None
        host.raw[self._handle] = self._take
        link.gone.add_done_callback(self._wake)

    def close(self) -> None:
        self._host.raw.pop(self._handle, None)
        self._link.gone.remove_done_callback(self._wake)

    def send(self, frame: Frame) -> None:
        if self._link.is_up:
            self._host.send_l2cap_pdu(self._handle, frame.channel, frame.octets)

    async def hear(self, within: float) -> Frame | None:
        if not self._heard and self._link.is_up:
            self._waiter = asyncio.get_running_loop().create_future()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(within):
                    await self._waiter
        return self._heard.popleft() if self._heard else None

    def _wake(self, *_: object) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    def _take(self, channel: int, octets: bytes) -> bool:
        """Whether the frame goes no further."""
        if channel == SIGNALLING and _is(octets, _UPDATE_REQUEST):
            return False  # bumble answers it
        answer = _answer_of_client(octets) if channel == ATT else None
        if answer is None and not (channel == SMP and _is(octets, _SECURITY_REQUEST)):
            self._heard.append(Frame(channel, octets))
            self._wake()
        elif answer:
            self.send(Frame(ATT, answer))
        return True


def _is(octets: bytes, kind: tuple[int, int]) -> bool:
    return octets[:1] == bytes(kind[:1]) and len(octets) == kind[1]


def _answer_of_client(octets: bytes) -> bytes | None:
    """What a client says to an ATT PDU that is no answer: b'' for nothing; None for one that may be an answer."""
    opcode = octets[0] if octets else 0
    if opcode in (_NOTIFICATION, _SEVERAL) and len(octets) >= _SHORTEST_UPDATE:
        return b""
    if opcode == _INDICATION and len(octets) >= _SHORTEST_UPDATE:
        return _CONFIRMATION
    return bytes((1, opcode, 0, 0, REQUEST_NOT_SUPPORTED)) if opcode in _REQUESTS else None
