"""power: the unit loses its power, and gets it back."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, ClassVar, Literal

import msgspec

from benchrig.errors import StationError
from benchrig.source.shape import Misfit
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps.attribute import Names
from benchrig.steps.base import NOTHING, SECONDS, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.values.quantity import Duration

if TYPE_CHECKING:
    from benchrig.radio.beside import Power as Switch

OFF_FOR = 1.0


class Power(Step, kw_only=True):
    """Take the power of the unit away (down), give it back (up), or both with a while between (cycle). A link that was up is over then."""

    verb: ClassVar[str] = "power"
    needs: ClassVar[frozenset[Cap]] = NOTHING
    ends: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})
    tries_again: ClassVar[bool] = False
    within_default: ClassVar[float] = 30.0

    power: Literal["down", "up", "cycle"]
    for_: Duration = msgspec.field(name="for", default_factory=lambda: Duration.of(OFF_FOR))

    @classmethod
    def wires(cls, node: MappingNode) -> frozenset[str]:
        return frozenset({"power"})

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if self.power != "cycle" and self.for_.seconds != OFF_FOR:
            yield Misfit(f"power {self.power} takes no time", "write power: cycle, or take out for", ("for",))
        if self.power == "cycle" and self.for_.seconds >= self.deadline:
            yield Misfit(f"the {self.deadline:g} s of the step end before the {self.for_} without power", path=("for",))

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {"elapsed": SECONDS}

    async def run(self, bench: Bench) -> None:
        started, power = bench.now(), bench.beside.power
        if power is None:
            raise StationError("nothing switches the power of the unit here", advice="see power: of a station file")
        if self.power != "up":
            await _down(bench, power)
        if self.power == "cycle":
            await asyncio.sleep(self.for_.seconds)
        if self.power != "down":
            await _up(bench, power)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")


async def power_cycled(bench: Bench) -> bool:
    """Take the power of the unit away and give it back, where something here can; False where nothing can."""
    try:
        power = bench.beside.power
    except StationError:
        return False
    if power is None:
        return False
    await _down(bench, power)
    await asyncio.sleep(OFF_FOR)
    await _up(bench, power)
    return True


async def _down(bench: Bench, power: Switch) -> None:
    if bench.beside.console is not None:
        bench.beside.console.power_down()
    await power.down(bench.time_left)
    await _link_is_lost(bench)


async def _up(bench: Bench, power: Switch) -> None:
    if await power.up(bench.time_left):
        bench.device.unit.powered()
    if bench.beside.console is not None:
        await bench.beside.console.power_up(bench.time_left)


async def _link_is_lost(bench: Bench) -> None:
    """Without power a link is lost once its supervision time is over. StationError for one that lasts: then the switch is
    that of something else."""
    if not bench.device.is_up:
        return
    bench.device.accept_loss()
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(bench.time_left):
            await bench.link.lost.wait()
            return
    raise StationError("the power was switched off, and the link is still up", advice="see what the switch is for")
