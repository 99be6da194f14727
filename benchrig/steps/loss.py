"""The end of the link as a reading: a step that names one of these goes on until the link is lost, and may lose it in the
midst of its request."""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING

from benchrig.errors import LinkLost, StationError, UsageError
from benchrig.radio.losses import BY_THIS_HOST, LOSSES
from benchrig.source.problem import suggest
from benchrig.steps.base import ReadingType, Step
from benchrig.steps.bench import Bench

if TYPE_CHECKING:
    from benchrig.radio.link import Link


def _no_reason(word: str) -> tuple[str, str] | None:
    """What is wrong with the reason of a loss."""
    if word in LOSSES.values():
        return None
    if word == BY_THIS_HOST:
        return f"the lost_reason is never '{word}': this side ends a link so", "write the reason that the unit gives"
    return f"the lost_reason is never '{word}'", suggest(word, LOSSES.values()) or "see wait in the reference"


LOSS = {
    "lost_after": ReadingType("number", "s", "from the request to the loss of the link"),
    "lost_reason": ReadingType("text", "", "why the link was lost, as the link layer says it", wrong=_no_reason),
}


async def carried_out(step: Step, bench: Bench) -> None:
    """Do the step; one in which the link is meant to end goes on until it has ended. LinkLost where it was lost before the
    step had begun to act, StationError where the radio has lost it."""
    if not bench.may_lose:
        await step.run(bench)
        return
    if not step.loses:
        await _let_go(step, bench)
        return
    link = link_to_lose(bench)
    await _let_go(step, bench)
    if bench.acted_at is None:
        for name in LOSS:
            bench.not_measured(name, "nothing was sent that could end the link")
        return
    await _lost(bench, link, bench.acted_at)


async def _let_go(step: Step, bench: Bench) -> None:
    """Do the step; the link may be lost in the midst of its request."""
    link = link_to_lose(bench)
    try:
        await step.run(bench)
    except LinkLost:
        if bench.acted_at is None or not link.lost.is_set() or link.lost_at < bench.acted_at:
            raise


def link_to_lose(bench: Bench) -> Link:
    """The link that is to be lost from now on. LinkLost for one that is lost already."""
    link = bench.link
    if not link.is_up:
        raise LinkLost(f"the link was lost before this step began ({link.lost_reason})")
    return link


async def _lost(bench: Bench, link: Link, acted_at: float) -> None:
    """Wait for the loss, see that it is one, and report it."""
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(bench.time_left):
            await link.lost.wait()
    if not link.lost.is_set():
        report_loss(bench, None, None, f"the link was not lost within {round(bench.since(acted_at), 1):g} s")
        return
    await check_whose(bench, link)
    bench.device.accept_loss()
    report_loss(bench, round(link.lost_at - acted_at, 6), link.lost_reason)


async def check_whose(bench: Bench, link: Link) -> None:
    """A link that this side has ended, or its radio has lost, shows nothing of the unit."""
    await bench.check_radio()
    if link.ended_here and bench.device.was_ended:
        raise UsageError("this step itself has ended the link that it expects the unit to end")
    if link.ended_here:
        raise StationError(f"the link was ended from this side ({link.lost_reason})")


def report_loss(bench: Bench, after: float | None, reason: str | None, why: str = "") -> None:
    if bench.wanted("lost_after"):
        bench.reading("lost_after", after, "s", why=why)
    if not bench.wanted("lost_reason"):
        return
    if lacks := bench.lacks("lost_reason"):
        bench.not_measured("lost_reason", lacks)
    else:
        bench.reading("lost_reason", reason, why=why)
