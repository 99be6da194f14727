"""Opening the ports of an air, each with its program."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.console.console import Console
from benchrig.errors import BenchrigError, DeviceError, StationError
from benchrig.radio.beside import Beside
from benchrig.radio.port.choice import PortChoice
from benchrig.radio.port.program import Program
from benchrig.tasks import first_of

if TYPE_CHECKING:
    from benchrig.console.log import Keeping
    from benchrig.radio.port.port import HciPort
    from benchrig.radio.port.pty import PtyDoor
    from benchrig.radio.port.tcp import TcpDoor
    from benchrig.radio.virtual.air import Air

# What a program that was started may take until its host speaks.
SPEAK_WITHIN = 10.0
_SHOWN = 4  # commands that are named
# What a program may take to end after its host has closed the port.
FOLLOW_WITHIN = 0.5
# Public addresses of the ports' controllers: from the block for documentation (RFC 7042 section 2.1.2).
_ADDRESS = "00:00:5E:00:53:{:02X}".format


@dataclass
class OpenPort:
    """One port with where its hosts connect, the program beside it while that is on, and the program's console."""

    port: HciPort
    door: TcpDoor | PtyDoor
    program: Program | None = None
    console: Console | None = None

    async def trouble(self) -> BenchrigError | None:
        """Why its unit is not there any more; None when nothing is known against it."""
        gone = self.port.gone()
        if gone is not None and self.program is not None and not self.port.refused:
            await self.program.ended(FOLLOW_WITHIN)
        return self.port.refused or self.lacking() or self._also_refused(self.crash() or gone)

    def failure(self) -> BenchrigError | None:
        """What its unit has done wrong, whether or not anything came of it: a crash, or garbage."""
        has_failed = self.program is not None and self.program.has_failed
        return self.port.refused or (has_failed and (self.lacking() or self._also_refused(self.crash()))) or None

    def crash(self) -> DeviceError | None:
        return self.program.crash() if self.program else None

    def lacking(self) -> StationError | None:
        """What keeps its unit from advertising, and is the bench's fault."""
        controller = self.port.controller
        if controller.addresses or not controller.missing_extended:
            return None
        return StationError(
            f"the firmware on {self.port.name} wants extended advertising, and the controller of a port has legacy advertising "
            f"only: it refused {controller.missing_extended}",
            advice="build the firmware with legacy advertising for this bench, or test it on a board",
        )

    def silence(self) -> DeviceError | None:
        """What is known of a unit that was not heard."""
        if not self.port.has_host or self.port.controller.addresses:
            return None
        silent = f"the firmware on {self.port.name} started, and has not enabled advertising"
        return self._also_refused(DeviceError(silent, advice="see why the firmware does not advertise"))

    def _also_refused(self, error: DeviceError | None) -> DeviceError | None:
        """The commands that the controller does not have may be the reason."""
        refused = list(self.port.controller.refused.values())
        if error is None or not refused:
            return error
        shown = ", ".join(refused[:_SHOWN]) + (f" and {len(refused) - _SHOWN} more" if len(refused) > _SHOWN else "")
        return DeviceError(f"{error.message}; the controller of the port does not know: {shown}", advice=error.advice)


class ProgramSwitch:
    """The power of a unit that is a program: down ends it, up starts it again."""

    def __init__(self, one: OpenPort) -> None:
        assert one.program is not None
        self._one, self._words = one, one.program.words

    async def down(self, within: float) -> None:
        """DeviceError for a program that had failed before."""
        program, self._one.program = self._one.program, None
        if program is None:
            return
        failed = program.crash() if program.has_failed else None
        await program.stop()
        self._one.port.drop()
        self._one.door.renew()
        if failed is not None:
            raise failed
        if program.code is None:
            raise StationError(f"{program.name} does not end", advice="see what keeps it, and end it by hand")

    async def up(self, within: float) -> bool:
        one = self._one
        if one.program is not None:
            return False
        assert one.console is not None
        one.program = await Program.start(self._words, one.console)
        one.console.sender = one.program.send
        await spoken(one, within)
        return True


@dataclass
class OpenPorts:
    """All ports of an air; `close` ends their programs and shuts them. `alone` when there are no other devices."""

    ports: list[OpenPort] = field(default_factory=list)
    alone: bool = False
    _told: set[str] = field(default_factory=set)

    @property
    def facts(self) -> dict[str, str]:
        """For the record: where hosts connect, and what was started there."""
        facts: dict[str, str] = {}
        for number, one in enumerate(self.ports, 1):
            facts[f"port {number}"] = one.port.name
            if one.program:
                facts[f"program {number}"] = one.program.command
                facts |= {f"SHA-256 of {word}": digest for word, digest in one.program.digests.items()}
        return facts

    async def trouble(self, address: str) -> BenchrigError | None:
        """Why the unit with this address is not there any more, '' for whichever it was."""
        for one in self.ports:
            if not address or address in one.port.controller.addresses:
                found = await one.trouble()
                if found is not None:
                    self._told.add(found.message)
                    return found
        return self._silence()

    def _silence(self) -> DeviceError | None:
        """Where there are no other devices, nothing is heard because no host of a port advertises."""
        if not self.alone or any(one.port.controller.addresses for one in self.ports):
            return None
        return next((found for one in self.ports if (found := one.silence())), None)

    def failure(self) -> BenchrigError | None:
        """What a unit has done wrong that `trouble` has told nobody."""
        failures = [found for one in self.ports if (found := one.failure()) is not None]
        return next((found for found in failures if found.message not in self._told), None)

    async def close(self) -> None:
        for one in self.ports:
            if one.program:
                await one.program.stop()
            await one.door.close()
            one.port.leave()
            if one.console:
                one.console.close()

    def beside(self) -> list[Beside]:
        """The console and the switch of each program."""
        return [
            Beside(one.program.name, one.console, ProgramSwitch(one), lambda own=one: own.port.controller.addresses)  # type: ignore[misc]
            for one in self.ports
            if one.program is not None
        ]


async def open_ports(
    air: Air, choices: Sequence[PortChoice], keeping: Keeping | None, *, alone: bool = False
) -> OpenPorts:
    """Open the ports and start their programs; each host has spoken when this returns. The output of programs is kept
    where `keeping` says. Raises StationError, and DeviceError for a program that does not come up."""
    opened = OpenPorts(alone=alone)
    try:
        for number, choice in enumerate(choices, 1):
            opened.ports.append(await _open(air, choice, number))
        for number, (one, choice) in enumerate(zip(opened.ports, choices, strict=True), 1):
            if choice.start:
                words = _filled(choice.start, one.door.address)
                one.console = Console(
                    f"the console of {words[0]}", keeping, file="console" if number == 1 else f"console-{number}"
                )
                one.program = await Program.start(words, one.console)
                one.console.sender = one.program.send
        await asyncio.gather(*(spoken(one) for one in opened.ports if one.program))
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


async def spoken(one: OpenPort, within: float | None = None) -> None:
    """Wait until the program's host speaks."""
    assert one.program is not None
    within = SPEAK_WITHIN if within is None else min(within, SPEAK_WITHIN)
    await first_of(one.port.spoke.wait(), one.program.ended(within))
    if one.port.refused:
        raise one.port.refused
    if not one.port.spoke.is_set():
        raise (
            one.lacking()
            or one.program.crash()
            or DeviceError(
                f"{one.program.name} did not speak on {one.port.name} within {within:.3g} s",
                advice="begin with an HCI Reset; {port} in --start becomes the port's address",
            )
        )
