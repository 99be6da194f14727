"""What a simulated device does in a pairing beside what it has agreed on: what it does not accept, and its faults."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.radio.bumble_stack.bumble_api import smp
from benchrig.radio.bumble_stack.terms import Conduct
from benchrig.radio.security import Level
from benchrig.radio.virtual.security_spec import OCTETS, PDUS

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Connection
    from benchrig.radio.security import Protection
    from benchrig.radio.virtual.security_spec import SecurityFaultSpec


class DeviceConduct(Conduct):
    """For one pairing. `least` is what it has to come to; `disconnect` ends its link."""

    def __init__(self, faults: SecurityFaultSpec, least: Level, disconnect: Callable[[], object]) -> None:
        self._faults, self._least, self._disconnect = faults, least, disconnect
        self.checks = not faults.unchecked

    async def refusal(self, connection: Connection) -> int:
        return self._faults.refuses or 0

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
