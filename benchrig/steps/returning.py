"""A unit that comes back: how long it took until it advertised again, as a reading, and a new link to it."""

from __future__ import annotations

import asyncio

from benchrig.errors import ConnectFailed, DeviceNotFound
from benchrig.steps.base import ReadingType
from benchrig.steps.bench import Bench, Own, in_step

AFTER = "advertises_after"
# How often it is tried to connect, and what lies between, in seconds.
_TRIES, _BETWEEN = 3, 0.25
RETURN = {AFTER: ReadingType("number", "s", "from the end of the last link to the first report of the unit")}


async def listen_again(bench: Bench) -> None:
    """Listen for the unit after its link has ended, where the plan asks when it was back. DeviceNotFound."""
    absence = bench.device.unit.absence
    if bench.wanted(AFTER) and absence is not None and absence.first_at is None:
        await bench.find(0.0, to_connect=True)


def report_return(bench: Bench) -> None:
    if not bench.wanted(AFTER):
        return
    absence = bench.device.unit.absence
    if absence is None:
        bench.not_measured(AFTER, "no link of the unit has ended before")
    elif absence.first_at is not None and absence.why_unknown:
        bench.not_measured(AFTER, absence.why_unknown)
    else:
        after = None if absence.first_at is None else round(absence.first_at - absence.since, 6)
        bench.reading(AFTER, after, "s", why="the unit was not heard again")


async def connected_again(bench: Bench, own: Own = in_step, *, deadline: float | None = None) -> None:
    """A new link to the unit that was connected before, until the step ends where no `deadline` is given. LinkError."""
    deadline = bench.now() + bench.time_left if deadline is None else deadline
    for tries in range(_TRIES, 0, -1):
        left = max(0.1, deadline - bench.now())
        try:
            await own(bench.connect(left / tries, again=tries < _TRIES), left)
            return
        except (ConnectFailed, DeviceNotFound) as error:
            if tries == 1 or bench.now() + _BETWEEN > deadline:
                raise
            bench.note(f"connected again: {error.message}")
        await own(asyncio.sleep(_BETWEEN), 1.0)
