"""Opens a desk and runs work at it, in an event loop of its own."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable, Coroutine
from typing import TYPE_CHECKING, Any, TypeVar

from benchrig.desk.desk import Desk, DeskOptions, in_silence
from benchrig.desk.securing import Unattended
from benchrig.loop import in_loop, interruptible
from benchrig.radio.specify import loop_factory, radio_opener

if TYPE_CHECKING:
    from benchrig.radio.radio import Radio
    from benchrig.radio.security import Party

T = TypeVar("T")


@contextlib.asynccontextmanager
async def open_desk(
    options: DeskOptions,
    tell: Callable[[str], None],
    doing: Callable[[str], None] = in_silence,
    party: Party | None = None,
) -> AsyncIterator[Desk]:
    """Open the radio; whatever is connected is disconnected at the end. PlanError for bad device files, StationError."""
    radio = await radio_opener(options.choice, seed=options.seed, capture=options.capture, station=options.station)()
    try:
        for sentence in [*_ports(radio), *await radio.prepare(options.selection, options.within)]:
            tell(sentence)
        yield Desk(radio, options, tell, doing, party or Unattended())
        if (late := await radio.aftermath()) is not None:
            tell(late.message)
        for sentence in radio.remarks():
            tell(sentence)
    finally:
        await radio.close()


def _ports(radio: Radio) -> list[str]:
    """Where a firmware connects, for who starts it by hand."""
    return [f"{name}: {fact}" for name, fact in radio.facts.items() if name.startswith("port ")]


def run_desk(
    options: DeskOptions,
    work: Callable[[Desk], Coroutine[Any, Any, T]],
    tell: Callable[[str], None],
    doing: Callable[[str], None] = in_silence,
    party: Party | None = None,
) -> T:
    """Run the work at a desk, in an event loop of its own. The first signal cancels the work: one that lets it pass
    ends the command as interrupted (OperatorError); one for which that is the ordinary end (a live view) returns.
    Whatever happens, the device is disconnected."""
    factory = loop_factory(options.choice, real_time=options.real_time)

    async def whole() -> T:
        async with open_desk(options, tell, doing, party) as desk:
            return await work(desk)

    return in_loop(interruptible(whole()), factory)
