"""A test in Python against simulated devices, in one line; back comes all that it left."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchrig import OpenedRadio, open_radio
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual import Faults
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.record.accounting import unaccounted
from benchrig.record.model import Record
from benchrig.testing.sources import load_devices

Test = Callable[[OpenedRadio], Awaitable[Any]]


@dataclass
class Left:
    """The record of a run, what it raised, the tasks that are still alive, errors that nobody waited for."""

    record: Record
    error: BaseException | None
    tasks: int
    stray: list[str]

    @property
    def verdicts(self) -> list[str]:
        return [each.ended.verdict if each.ended else "none" for each in self.record.steps]

    @property
    def messages(self) -> list[str]:
        return [each.ended.message for each in self.record.steps if each.ended and each.ended.message]

    @property
    def is_clean(self) -> bool:
        """Whether nothing is left of it: no task, no error that nobody waited for."""
        return self.tasks == 0 and self.stray == []


def python(
    test: Test,
    *devices: str | Path,
    air: str | None = None,
    faults: Faults | None = None,
    wraps: Callable[[Any], Any] | None = None,
    **how: Any,
) -> Left:
    """Run the test on a radio with these devices; `how` goes to open_radio; `wraps` is around all of it."""
    stray: list[str] = []
    opened: list[OpenedRadio] = []
    choice = RadioChoice("virtual", devices=tuple(load_devices(devices, air=air)), air=air, faults=faults)

    async def whole() -> None:
        async with open_radio(choice, **{"seed": 1, **how}) as radio:
            opened.append(radio)
            await test(radio)

    async def main() -> tuple[BaseException | None, int]:
        asyncio.get_running_loop().set_exception_handler(lambda _, context: stray.append(str(context)))
        error: BaseException | None = None
        try:
            await (wraps(whole()) if wraps else whole())
        except BaseException as raised:
            error = raised
        return error, len(asyncio.all_tasks()) - 1

    with asyncio.Runner(loop_factory=VirtualLoop, debug=True) as runner:
        error, tasks = runner.run(main())
    if not opened:
        assert error is not None
        raise error
    record = opened[0].record
    assert not (wrong := unaccounted(record)), wrong
    return Left(record, error, tasks, stray)
