"""One exchange with a device: a write, and the notifications that answer it."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import msgspec

from benchrig.desk.desk import READ_WITHIN
from benchrig.desk.inspection import Content, content
from benchrig.desk.writing import WRITE_WITHIN, Order, Prepared, Sending, prepare
from benchrig.errors import AttributeMissing, LinkLost, NoAnswer, UsageError
from benchrig.radio.table import Characteristic
from benchrig.source.shape import Misfit
from benchrig.steps.answers import ONE, Answers, Hearing, Joining, missing
from benchrig.steps.lookup import look_up
from benchrig.steps.subscription import PROPERTIES
from benchrig.tasks import first_of

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from benchrig.desk.desk import Desk
    from benchrig.radio.link import Link
    from benchrig.steps.attribute import Names
    from benchrig.steps.bench import Target
    from benchrig.values.format import Format

# Seconds until the first answer, and between two of them.
ANSWER_WITHIN = 5.0


@dataclass(frozen=True)
class Inquiry:
    """What to write where (a format in the order is that of the answer), and what answers it."""

    order: Order
    # the attribute that answers, '' for the one that is written
    reply: str = ""
    starts_with: bytes = b""
    answers: Answers | None = None

    @property
    def sender(self) -> str:
        return self.reply or self.order.attribute

    @property
    def sent(self) -> Order:
        """The write of it."""
        return replace(self.order, form=None)

    def check(self, names: Names) -> None:
        """See, before anything is sent, that the names mean something and the value fits. UsageError."""
        self.sent.check(names)
        try:
            names.meaning(self.sender)
        except Misfit as error:
            raise UsageError(error.message, advice=error.advice) from error


class Exchanged(msgspec.Struct, omit_defaults=True):
    """What was done, and what answered. Of several answers there is `count`, and `elapsed` until the last one."""

    attribute: str
    written: Content
    reply: str
    answer: Content
    # seconds from the write to the first answer
    response_time: float
    response: bool = True
    count: int | None = None
    elapsed: float | None = None
    lost: int | None = None
    duplicated: int | None = None
    # when answers are missing by their counter
    error: str = ""
    advice: str = ""


def exchanged_data(done: Exchanged) -> dict[str, Any]:
    """What is there, as a document."""
    return {key: item for key, item in msgspec.structs.asdict(done).items() if item not in (None, "")}


@dataclass(frozen=True)
class Ready:
    """An exchange that a connected device takes."""

    inquiry: Inquiry
    write: Prepared
    target: Target
    form: Format | None


async def make_ready(desk: Desk, link: Link, inquiry: Inquiry) -> Ready:
    """Look both attributes up, and see that they offer what is asked of them; nothing is written. AttributeMissing,
    AttributeAmbiguous, UnfitValue, NoAnswer, LinkLost."""
    target = look_up(link.table, desk.names, inquiry.sender, PROPERTIES)
    if not isinstance(target.found.attribute, Characteristic):
        raise AttributeMissing(f"{target.name} is a descriptor; only characteristics send notifications")
    form = inquiry.order.form or await desk.format_of(link, target)
    return Ready(inquiry, await prepare(desk, link, inquiry.sent), target, form)


async def exchange(desk: Desk, link: Link, ready: Ready, sending: Sending) -> tuple[Exchanged, bytes]:
    """Subscribe, write and wait for the answers; their bytes together as well. AttError, NoAnswer, LinkLost."""
    inquiry = ready.inquiry
    payload = await link.settled_payload() if inquiry.answers else 0
    hearing = Hearing(desk.now, inquiry.starts_with, inquiry.answers or ONE, payload)
    async with _heard(desk, ready, hearing):
        started, joining = desk.now(), hearing.ask()
        sending.begin()
        async with desk.blaming():
            await _write(link, ready)
            if inquiry.order.response:
                sending.confirm()
            await _answered(desk, link, joining, hearing, ready.target.name, started)
    if joining.error is not None:
        raise joining.error
    if hearing.others:
        desk.tell(f"{ready.target.name} sent {hearing.others} more that would have been taken for the answer")
    return _told(ready, joining, started), bytes(joining.value)


@contextlib.asynccontextmanager
async def _heard(desk: Desk, ready: Ready, hearing: Hearing) -> AsyncIterator[None]:
    characteristic = ready.target.found.attribute
    assert isinstance(characteristic, Characteristic)
    doing = f"subscribe to {ready.target.name}"
    async with desk.blaming():
        await desk.device.subscribe(characteristic, hearing.hear, doing, READ_WITHIN)
    try:
        yield
    finally:
        await desk.device.unsubscribe(characteristic, hearing.hear, READ_WITHIN)


async def _write(link: Link, ready: Ready) -> None:
    order, attribute = ready.write.order, ready.write.target.found.attribute
    doing = f"exchange {order.attribute}"
    await link.write(attribute, ready.write.data, doing, WRITE_WITHIN, response=order.response)


async def _answered(desk: Desk, link: Link, joining: Joining, hearing: Hearing, name: str, started: float) -> None:
    """Until the last answer. NoAnswer when there is none for too long, LinkLost."""
    while not joining.complete.is_set():
        had = joining.count
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(ANSWER_WITHIN):
                await first_of(joining.complete.wait(), link.lost.wait())
        if joining.complete.is_set():
            return
        if not link.is_up:
            raise LinkLost(f"the link was lost before the answer on {name} ({link.lost_reason})")
        if joining.count == had:
            raise NoAnswer(missing(joining, name, desk.now() - started, hearing.told_unfit))


def _told(ready: Ready, joining: Joining, started: float) -> Exchanged:
    inquiry, arrivals = ready.inquiry, joining.arrivals
    made = Exchanged(
        inquiry.order.attribute,
        content(ready.write.data, ready.write.form),
        inquiry.sender,
        content(bytes(joining.value), ready.form),
        round(arrivals.first - started, 6),
        inquiry.order.response,
    )
    if inquiry.answers is not None:
        made.count, made.elapsed = joining.count, round(arrivals.last - started, 6)
        _count(made, inquiry.answers, joining)
    return made


def _count(made: Exchanged, answers: Answers, joining: Joining) -> None:
    """What the counter in the headers shows."""
    if answers.counter is None:
        return
    made.lost, made.duplicated = joining.lost, joining.duplicated
    if made.lost or made.lost is None or made.duplicated:
        lost = "the counter went back" if made.lost is None else f"{made.lost} lost"
        made.error = (
            f"{made.reply}: the answers are not complete by their counter: {lost}, {made.duplicated} duplicated"
        )
        made.advice = "check that --counter is the place of a byte that counts up by one"
