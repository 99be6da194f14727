"""What a simulated device does in a pairing beside what it has agreed on: what it does not accept, and its faults."""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.radio.bumble_stack.bumble_api import smp
from benchrig.radio.bumble_stack.terms import Conduct
from benchrig.radio.security import Level
from benchrig.radio.virtual.security_spec import OCTETS, PDUS

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Connection, hci
    from benchrig.radio.security import Protection
    from benchrig.radio.virtual.security_spec import SecuritySpec


class Failures:
    """A peer whose pairing has failed waits before it may try again, each time twice as long (Core Vol 3 Part H 2.3.6)."""

    def __init__(self, first: float) -> None:
        self._first = first
        self._waits: dict[str, tuple[float, float]] = {}

    def add(self, peer: hci.Address) -> None:
        """One that came too early counts as well."""
        now = asyncio.get_running_loop().time()
        _, wait = self._waits.get(str(peer), (0.0, self._first / 2))
        self._waits[str(peer)] = now + wait * 2, wait * 2

    def refuses(self, peer: hci.Address) -> bool:
        until, _ = self._waits.get(str(peer), (0.0, 0.0))
        return asyncio.get_running_loop().time() < until

    def clear(self, peer: hci.Address) -> None:
        self._waits.pop(str(peer), None)

    def forget(self) -> None:
        self._waits.clear()


class DeviceConduct(Conduct):
    """For one pairing. `too_early`: it has to wait; `least` is what it has to come to; `disconnect` ends its link."""

    def __init__(self, spec: SecuritySpec, too_early: bool, least: Level, disconnect: Callable[[], object]) -> None:
        self._faults, self._too_early, self._least, self._disconnect = spec.faults, too_early, least, disconnect
        self.checks, self.unbonded = not spec.faults.unchecked, spec.unbonded

    async def refusal(self, connection: Connection) -> int:
        return self._faults.refuses or (smp.ErrorCode.REPEATED_ATTEMPTS if self._too_early else 0)

    def objection(self, agreed: Protection) -> int:
        return 0 if agreed.level >= self._least else smp.ErrorCode.AUTHENTICATION_REQUIREMENTS

    def hears(self, command: smp.SMP_Command) -> bool:
        if _is(command, self._faults.disconnects_at):
            self._disconnect()
            return False
        return not _is(command, self._faults.silent_at)

    def legacy_key(self, random: bytes) -> bytes:
        return hashlib.sha256(b"the key of every device").digest()[:OCTETS] if self._faults.same_key else random


def _is(command: smp.SMP_Command, name: str | None) -> bool:
    return name is not None and command.code == PDUS[name]
