"""Opening the ports of an air, each with its program."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.errors import DeviceError
from benchrig.radio.port.choice import PortChoice
from benchrig.radio.port.program import Program

if TYPE_CHECKING:
    from benchrig.radio.port.port import HciPort
    from benchrig.radio.port.pty import PtyDoor
    from benchrig.radio.port.tcp import TcpDoor
    from benchrig.radio.virtual.air import Air

# What a program that was started may take until its host speaks.
SPEAK_WITHIN = 10.0
# What a program may take to end after its host has closed the port.
FOLLOW_WITHIN = 0.5
# Public addresses of the ports' controllers: from the block for documentation (RFC 7042 section 2.1.2).
_ADDRESS = "00:00:5E:00:53:{:02X}".format


@dataclass
class OpenPort:
    """One port with where its hosts connect and the program beside it."""

    port: HciPort
    door: TcpDoor | PtyDoor
    program: Program | None = None

    async def trouble(self) -> DeviceError | None:
        """Why its unit is not there any more; None when nothing is known against it."""
        gone = self.port.gone()
        if gone is not None and self.program is not None and not self.port.refused:
            await self.program.ended(FOLLOW_WITHIN)
        crash = self.program.crash() if self.program else None
        return self.port.refused or crash or gone

    def failure(self) -> DeviceError | None:
        """What its unit has done wrong, whether or not anything came of it: a crash, or garbage."""
        crash = self.program.crash() if self.program and self.program.has_failed else None
        return self.port.refused or crash


@dataclass
class OpenPorts:
    """All ports of an air; `close` ends their programs and shuts them."""

    ports: list[OpenPort] = field(default_factory=list)
    _told: set[str] = field(default_factory=set)

    @property
    def addresses(self) -> list[str]:
        """Where hosts connect, for people: 'tcp:127.0.0.1:9001'."""
        return [one.port.name for one in self.ports]

    async def trouble(self, address: str) -> DeviceError | None:
        """Why the unit with this address is not there any more, '' for whichever it was."""
        for one in self.ports:
            if not address or address in one.port.controller.addresses:
                found = await one.trouble()
                if found is not None:
                    self._told.add(found.message)
                    return found
        return None

    def failure(self) -> DeviceError | None:
        """What a unit has done wrong that `trouble` has told nobody."""
        failures = [found for one in self.ports if (found := one.failure()) is not None]
        return next((found for found in failures if found.message not in self._told), None)

    async def close(self) -> None:
        for one in self.ports:
            if one.program:
                await one.program.stop()
            await one.door.close()
            one.port.leave()


async def open_ports(air: Air, choices: Sequence[PortChoice], folder: Path) -> OpenPorts:
    """Open the ports and start their programs; each host has spoken when this returns. The output of programs goes
    to `folder`. Raises StationError, and DeviceError for a program that does not come up."""
    opened = OpenPorts()
    try:
        for number, choice in enumerate(choices, 1):
            opened.ports.append(await _open(air, choice, number))
        for number, (one, choice) in enumerate(zip(opened.ports, choices, strict=True), 1):
            if choice.start:
                log = folder / ("start.log" if number == 1 else f"start-{number}.log")
                one.program = await Program.start(_filled(choice.start, one.door.address), log)
        await asyncio.gather(*(_up(one) for one in opened.ports if one.program))
    except BaseException:
        await opened.close()
        raise
    return opened


async def _open(air: Air, choice: PortChoice, number: int) -> OpenPort:
    from benchrig.radio.port.port import HciPort
    from benchrig.radio.port.pty import PtyDoor
    from benchrig.radio.port.tcp import TcpDoor

    port = HciPort(air, _ADDRESS(number % 256))
    opened = await (PtyDoor if choice.kind == "pty" else TcpDoor).open(choice, port)
    port.name = f"{choice.kind}:{opened.address}"
    return OpenPort(port, opened)


def _filled(words: tuple[str, ...], address: str) -> tuple[str, ...]:
    return tuple(word.replace("{port}", address) for word in words)


async def _up(one: OpenPort) -> None:
    """Wait until the program's host speaks."""
    assert one.program is not None
    spoke = asyncio.ensure_future(one.port.spoke.wait())
    ended = asyncio.ensure_future(one.program.ended(SPEAK_WITHIN))
    try:
        await asyncio.wait([spoke, ended], return_when=asyncio.FIRST_COMPLETED)
        if not spoke.done():
            raise one.program.crash() or DeviceError(
                f"{one.program.name} did not speak on {one.port.name} within {SPEAK_WITHIN:g} s",
                advice="a host begins with an HCI Reset; {port} in --start becomes the port's address",
            )
    finally:
        for waiter in (spoke, ended):
            waiter.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.gather(spoke, ended, return_exceptions=True)
