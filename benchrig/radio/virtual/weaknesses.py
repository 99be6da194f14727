"""Weaknesses at work: what a simulated device does not bear, and what becomes of it then."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from benchrig.radio.virtual.gate import answer_to, error, is_request, is_truncated, is_unknown
from benchrig.values.channels import ATT, SIGNALLING, SMP, SMP_LENGTHS

if TYPE_CHECKING:
    from collections.abc import Coroutine, Sequence

    from benchrig.radio.bumble_stack.bumble_api import Connection
    from benchrig.radio.virtual.weakness_spec import WeaknessSpec

# Seconds that a device is away when it starts again, and within which connections follow each other quickly.
AWAY, QUICK = 2.0, 1.0
# Less than a connection interval: an answer cannot have crossed in it (Core Vol 6 Part B 4.5.1).
_AT_ONCE = 5e-3
_GARBAGE = bytes.fromhex("FF 00 FF")
_LEAST_MTU, _LONGEST_VALUE = 23, 512
_EXECUTE = 0x18


class Weak(Protocol):
    """The device, as far as its weaknesses need it."""

    def spawn(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]: ...

    async def disconnect(self, connection: Connection | None) -> None: ...

    def reboot(self, away: float) -> None: ...

    def sleep(self, seconds: float) -> None: ...

    def length_of(self, handle: int) -> int | None:
        """Octets of the value with this handle; None where there is none."""
        ...

    def is_configuration(self, handle: int) -> bool:
        """Whether it is that of a client characteristic configuration."""
        ...

    def has_queued(self, connection: Connection) -> bool:
        """Whether parts of a prepared write wait for their execution."""
        ...

    def queued_end(self, connection: Connection) -> int:
        """Where the last of these parts ends in its value."""
        ...

    def drop_queued(self, connection: Connection) -> None: ...


@dataclass(frozen=True)
class Seen:
    """A frame that has come."""

    device: Weak
    connection: Connection
    channel: int
    octets: bytes
    # seconds since the last ATT request on its link
    after: float = math.inf

    def is_att(self, *opcodes: int, least: int = 3) -> bool:
        return self.channel == ATT and len(self.octets) >= least and self.octets[0] in opcodes

    def number(self, at: int) -> int:
        return int.from_bytes(self.octets[at : at + 2], "little")

    @property
    def length(self) -> int:
        """Octets of the value that it names; more than any where there is none."""
        length = self.device.length_of(self.number(1))
        return 0x10000 if length is None else length


def _long(seen: Seen) -> bool:
    return seen.is_att(0x12, 0x52) and len(seen.octets) - 3 > seen.length


def _too_long(seen: Seen) -> bool:
    if seen.is_att(_EXECUTE, least=2):
        return seen.octets[1] == 1 and seen.device.queued_end(seen.connection) > _LONGEST_VALUE
    return seen.is_att(0x12, 0x52) and len(seen.octets) - 3 > _LONGEST_VALUE


def _beyond(seen: Seen) -> bool:
    return seen.is_att(0x0C, least=5) and seen.number(3) > seen.length


def _gap(seen: Seen) -> bool:
    return seen.is_att(0x16, least=5) and seen.number(3) > 0 and not seen.device.has_queued(seen.connection)


def _nothing(seen: Seen) -> bool:
    return seen.is_att(0x18, least=2) and seen.octets[1] == 1 and not seen.device.has_queued(seen.connection)


def _second(seen: Seen) -> bool:
    return is_request(seen.channel, seen.octets) and seen.after < _AT_ONCE


def _unasked(seen: Seen) -> bool:
    return seen.channel == ATT and bool(seen.octets) and bool(seen.octets[0] & 1)


def _subscribes(seen: Seen) -> bool:
    return seen.is_att(0x12) and seen.device.is_configuration(seen.number(1))


def _bad_smp(seen: Seen) -> bool:
    code = seen.octets[0] if seen.octets else 0
    return seen.channel == SMP and SMP_LENGTHS.get(code) != len(seen.octets)


_TRIGGERS: Mapping[str, Callable[[Seen], bool]] = {
    "long value": _long,
    "value over 512 bytes": _too_long,
    "offset beyond the end": _beyond,
    "gap in prepared writes": _gap,
    "execution of nothing": _nothing,
    "unknown opcode": lambda seen: seen.channel == ATT and is_unknown(seen.octets),
    "truncated request": lambda seen: seen.channel == ATT and is_truncated(seen.octets),
    "unasked response": _unasked,
    "second request": _second,
    "small MTU": lambda seen: seen.is_att(0x02) and seen.number(1) < _LEAST_MTU,
    "subscriptions": _subscribes,
    "unknown channel": lambda seen: seen.channel not in (ATT, SIGNALLING, SMP),
    "SMP garbage": _bad_smp,
    "signalling garbage": lambda seen: seen.channel == SIGNALLING and answer_to(SIGNALLING, seen.octets) is not None,
}


class Weaknesses:
    """Those of one device, until it starts again: `start_again` forgets what it has counted."""

    def __init__(self, device: Weak, specs: Sequence[WeaknessSpec]) -> None:
        self._device, self._specs = device, specs
        self.start_again()

    def start_again(self) -> None:
        self._met = [0] * len(self._specs)
        self._hung: set[Connection] = set()
        self._is_frozen = False
        self._connected_at = -math.inf
        self._asked_at: dict[Connection, float] = {}

    def on_connection(self, connection: Connection) -> None:
        now = asyncio.get_running_loop().time()
        is_quick, self._connected_at = now - self._connected_at < QUICK, now
        for index, spec in enumerate(self._specs):
            if spec.against == "quick connections":
                self._met[index] = self._met[index] + 1 if is_quick else 0
                if self._met[index] >= spec.times:
                    self._suffer(spec, connection, b"")

    def meet(self, connection: Connection, channel: int, octets: bytes) -> bytes | None:
        """What is said to a frame that the device does not bear, b'' for nothing; None for one that it bears."""
        if self._is_frozen or connection in self._hung:
            return b""
        now = asyncio.get_running_loop().time()
        seen = Seen(self._device, connection, channel, octets, now - self._asked_at.get(connection, -math.inf))
        if is_request(channel, octets):
            self._asked_at = {connection: now}
        for index, spec in enumerate(self._specs):
            if spec.against in _TRIGGERS and _TRIGGERS[spec.against](seen):
                self._met[index] += 1
                if self._met[index] >= spec.times:
                    return self._suffer(spec, connection, octets)
        return None

    def _suffer(self, spec: WeaknessSpec, connection: Connection, octets: bytes) -> bytes:
        if spec.att_error is not None:
            return error(octets[0], spec.att_error, int.from_bytes(octets[1:3], "little"))
        if spec.does in ("accept", "garbage"):
            if octets[:1] == bytes((_EXECUTE,)):
                self._device.drop_queued(connection)
            return _GARBAGE if spec.does == "garbage" else _accepted(octets)
        if spec.does == "reboot":
            self._device.reboot(AWAY)
        elif spec.does == "hang":
            self._hung.add(connection)
        elif spec.does == "freeze":
            self._is_frozen = True
        else:
            self._device.spawn(self._leave(connection, for_good=spec.does == "stop advertising"))
        return b""

    async def _leave(self, connection: Connection, *, for_good: bool) -> None:
        await self._device.disconnect(connection)
        if for_good:
            self._device.sleep(math.inf)


def _accepted(octets: bytes) -> bytes:
    """The response to a request as if it were in order."""
    opcode = octets[0] if octets else 0
    return bytes((opcode + 1,)) + {0x16: octets[1:], 0x02: b"\x17\x00"}.get(opcode, b"")
