"""connect and disconnect: the link to the unit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

from benchrig.steps.attribute import Names
from benchrig.steps.base import SECONDS, Cap, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.steps.returning import RETURN, listen_again, report_return

if TYPE_CHECKING:
    from benchrig.radio.scan import Ear

_LOOK_EVERY = 0.02
# Seconds for which a unit that was never heard is listened for, and what connecting takes beside that.
LISTENS, CONNECTS = 2.0, 1.0


class Connect(Step, kw_only=True):
    """Connect to the unit that was found; listens for it first when there was no scan.

    `fresh` lets the radio forget the unit before, so that its table is read anew (after a firmware change).
    """

    verb: ClassVar[str] = "connect"
    within_default: ClassVar[float] = 10.0
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.UNIT})
    gives: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})

    connect: None
    fresh: bool = False

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            "elapsed": ReadingType("number", "s", "from the request to a link with its attribute table read"),
            "attempts": ReadingType("number", "", "attempts that were needed"),
            "payload": ReadingType("number", "bytes", "bytes that one write without response carries"),
            **RETURN,
        }

    async def run(self, bench: Bench) -> None:
        await listen_again(bench)
        report_return(bench)
        started = await bench.connect(bench.time_left, fresh=self.fresh)
        bench.reading("elapsed", bench.since(started), "s")
        if bench.wanted("attempts"):
            bench.reading("attempts", bench.attempt)
        if bench.wanted("payload"):
            bench.reading("payload", await bench.link.settled_payload(), "bytes")


class Disconnect(Step, kw_only=True):
    """End the link; with a limit on `advertises_after` also wait until the unit advertises again."""

    verb: ClassVar[str] = "disconnect"
    ends: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})
    within_default: ClassVar[float] = 15.0

    disconnect: None

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            "elapsed": SECONDS,
            "advertises_after": ReadingType("number", "s", "from the disconnection to the first report of the unit"),
        }

    async def run(self, bench: Bench) -> None:
        started = bench.now()
        await bench.disconnect()
        ended = bench.now()
        bench.reading("elapsed", bench.since(started), "s")
        if bench.wanted("advertises_after"):
            await self._report_advertising(bench, ended)

    async def _report_advertising(self, bench: Bench, ended: float) -> None:
        async with bench.device.unit.listening() as ear:
            heard = await self._listen(bench, ear)
        if heard is None:
            await bench.check_radio()
        if heard is None and any(map(bench.device.unit.may_be, ear.heard.values())):
            why = "the unit's address changes, and what was heard under another one may be another device"
            bench.not_measured("advertises_after", why)
        after = None if heard is None else round(heard - ended, 6)
        bench.reading("advertises_after", after, "s", why="the unit was not heard again in the time of the step")

    async def _listen(self, bench: Bench, ear: Ear) -> float | None:
        """When the unit was heard again; None when the time is over."""
        deadline = bench.now() + bench.time_left * 0.9
        while bench.now() < deadline:
            for sighting in ear.heard.values():
                if bench.device.unit.is_same(sighting):
                    return float(sighting.first_at)
            await bench.pause(_LOOK_EVERY)
        return None
