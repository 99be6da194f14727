"""reboot: the unit restarts, and is there again."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

from benchrig.errors import StepFailed
from benchrig.radio.turns import Use
from benchrig.steps.attribute import Names
from benchrig.steps.base import Cap, ReadingType
from benchrig.steps.composite import Came, Composite, CompositeBench
from benchrig.steps.loss import LOSS, check_whose, link_to_lose, report_loss
from benchrig.steps.returning import RETURN, connected_again, report_return
from benchrig.steps.rounds import RoundReadings

if TYPE_CHECKING:
    from benchrig.radio.link import Link


class Reboot(Composite, kw_only=True):
    """Carry out `steps`, the last of which makes the unit restart; then wait for the end of the link, listen for the unit and
    connect to it again, within `within` from the end of `steps`."""

    verb: ClassVar[str] = "reboot"
    uses: ClassVar[Use] = Use.CONNECT
    needs: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})
    gives: ClassVar[frozenset[Cap]] = frozenset({Cap.LINK})
    wants_loss: ClassVar[bool] = True
    within_default: ClassVar[float] = 30.0

    reboot: None

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        return {
            **LOSS,
            **RETURN,
            "connected_after": ReadingType(
                "number", "s", "from the loss of the link to the new one with its table read"
            ),
            "elapsed": ReadingType("number", "s", "from its first step to the new link"),
        }

    async def run(self, bench: CompositeBench) -> None:  # type: ignore[override]
        link, started, begins = link_to_lose(bench), bench.now(), _Begins(bench, {*self.limits, *self.save}, set())
        came = await bench.inside.run("steps", watch=begins)
        self._check_came(came, link)
        deadline = bench.now() + self.deadline
        await self._await_loss(bench, link, begins.last, deadline)
        await self._await_return(bench, deadline)
        bench.reading("connected_after", bench.since(link.lost_at), "s")
        bench.reading("elapsed", bench.since(started), "s")
        begins.report()
        self.conclude(came)

    def _check_came(self, came: Came, link: Link) -> None:
        """Of a step that broke a limit and nothing more the unit may still restart; any other failure ends it. InnerError."""
        self.cut_short(came)
        if came.error is not None and (came.error.cause != "limit" or link.is_up or link.ended_here):
            raise came.error

    async def _await_loss(self, bench: CompositeBench, link: Link, acted_at: float, deadline: float) -> None:
        left = max(0.0, deadline - bench.now())
        if not link.lost.is_set():
            await bench.own(_lost(link, left), left)
        if not link.lost.is_set():
            raise StepFailed(f"the link was not lost within {self.deadline:g} s, so the unit has not restarted")
        await bench.own(check_whose(bench, link), max(0.1, deadline - bench.now()))
        report_loss(bench, round(link.lost_at - acted_at, 6), link.lost_reason)

    async def _await_return(self, bench: CompositeBench, deadline: float) -> None:
        left = max(0.1, deadline - bench.now())
        await bench.own(bench.find(0.0, to_connect=True), left)
        report_return(bench)
        await connected_again(bench, bench.own, deadline=deadline)


class _Begins(RoundReadings):
    """Keeps when the last step in it began, and what these steps measure."""

    def __init__(self, bench: CompositeBench, reported: set[str], watched: set[str]) -> None:
        super().__init__(bench, reported, watched)
        self.last = bench.now()

    def begins(self, step: str) -> None:
        super().begins(step)
        self.last = self._bench.now()


async def _lost(link: Link, seconds: float) -> None:
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            await link.lost.wait()
