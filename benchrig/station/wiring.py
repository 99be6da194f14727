"""What a station has beside the radio: the console on a wire, the commands that switch the power of the unit."""

from __future__ import annotations

import shlex
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.console.choice import ConsoleChoice
from benchrig.errors import StationError
from benchrig.loop import outside
from benchrig.radio.beside import Beside, Power
from benchrig.steps.program import Program

if TYPE_CHECKING:
    from benchrig.console.log import Keeping
    from benchrig.radio.radio import Radio

Opener = Callable[[], "Awaitable[Radio]"]


@dataclass(frozen=True)
class Wiring:
    """Of one station: each is None where there is none."""

    console: ConsoleChoice | None = None
    power: Power | None = None

    def around(self, opener: Opener, keeping: Callable[[], Keeping]) -> Opener:
        """What opens the radio together with these; they take the place of what the radio has of its own."""
        if self.console is None and self.power is None:
            return opener

        async def opened() -> Radio:
            radio = await opener()
            try:
                await self._attach(radio, keeping())
            except BaseException:
                await radio.close()
                raise
            return radio

        return opened

    async def _attach(self, radio: Radio, keeping: Keeping) -> None:
        own = radio.beside[0] if len(radio.beside) == 1 else Beside("the unit")
        if self.power is not None:
            own = replace(own, power=self.power)
        if self.console is not None:
            from benchrig.console.wires import WiredConsole

            wired = await WiredConsole.open(self.console, keeping)
            own = replace(own, console=wired.console)
            radio.on_close = _then(wired.close, radio.on_close)
        radio.beside = [own]
        radio.facts = {**radio.facts, **self._facts}

    @property
    def _facts(self) -> dict[str, str]:
        """For the record."""
        console = {"console": str(self.console)} if self.console else {}
        return console | ({"power": str(self.power)} if self.power else {})


def _then(first: Callable[[], Awaitable[None]], last: Callable[[], Awaitable[None]]) -> Callable[[], Awaitable[None]]:
    async def close() -> None:
        await first()
        await last()

    return close


@dataclass(frozen=True)
class CommandSwitch:
    """Programs that switch the power, with their arguments. They run in the current folder, without a shell."""

    down_command: tuple[str, ...]
    up_command: tuple[str, ...]

    def __str__(self) -> str:
        return f"{shlex.join(self.down_command)} and {shlex.join(self.up_command)}"

    async def down(self, within: float) -> None:
        await _run(self.down_command, within)

    async def up(self, within: float) -> bool:
        await _run(self.up_command, within)
        return True


async def _run(words: tuple[str, ...], within: float) -> None:
    with outside():
        try:
            program = Program(words, Path.cwd())
        except (OSError, ValueError) as exc:
            raise _failed(words, f"cannot be started: {getattr(exc, 'strerror', None) or exc}") from exc
        try:
            code = await program.ended(within * 0.95)
            await program.silent()
        finally:
            await program.end()
    if code is None:
        raise _failed(words, f"ran longer than {within:.3g} s")
    if code != 0:
        raise _failed(words, f"ended with exit code {code}", program.texts[1][-300:])


def _failed(words: tuple[str, ...], what: str, advice: str = "") -> StationError:
    return StationError(
        f"the power cannot be switched: {words[0]} {what}", advice=advice or "check power: in the station file"
    )
