"""exchange: a write and the notification that answers it, once or again until the answer is what is waited for."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from benchrig.errors import AttError, LinkLost, NoAnswer, UnfitValue
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import ReadingType, decoded, types_of, value_readings
from benchrig.steps.bench import Bench, Target
from benchrig.steps.loss import LOSS
from benchrig.steps.payload import hex_bytes, misfit_of, sent_by
from benchrig.steps.refusal import ATT_ERROR, NONE, answered, is_withheld, request_target, unanswered
from benchrig.steps.subscription import sender
from benchrig.steps.waiting import Polling
from benchrig.values.format import Format
from benchrig.values.limit_keys import AnyValue

_READINGS = {
    "response_time": ReadingType("number", "s", "from the write request to the answer"),
    "att_error": ATT_ERROR,
    **LOSS,
}


class Exchange(Polling, kw_only=True):
    """Write to one attribute and wait for the notification or indication of `reply` (default: the same attribute).

    `starts_with` (hex bytes) picks the matching one when others come in between.
    """

    verb: ClassVar[str] = "exchange"
    may_lose: ClassVar[bool] = True
    writes: ClassVar[bool] = True
    elsewhere: ClassVar[dict[str, str]] = {"answer": "write 'reply'"}

    exchange: AttributeName
    value: AnyValue | None = None
    raw: str | None = None
    response: bool = True
    reply: AttributeName | None = None
    starts_with: str | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if (self.value is None) == (self.raw is None):
            yield Misfit("an exchange needs either value or raw", "for example: raw: '01 A0'")
        if not self.response:
            yield from unanswered(self)
        if self.starts_with is not None:
            try:
                hex_bytes(self.starts_with)
            except UnfitValue as error:
                yield Misfit(error.message, error.advice, ("starts_with",))

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        misfit = misfit_of(self, names.meaning(self.exchange).format, self.value, self.raw)
        if misfit:
            raise misfit
        value = value_readings(names, self.reply or self.exchange)
        return None if value is None else _READINGS | value | self.waiting_readings()

    async def run(self, bench: Bench) -> None:
        needs = ("write",) if self.response else ("write without response",)
        command = request_target(bench, self, self.exchange, needs)
        sending = sender(bench, self.reply or self.exchange)
        data = sent_by(self, command.format, self.value, self.raw)
        if is_withheld(bench):
            return
        hearing = _Hearing(bench, hex_bytes(self.starts_with) if self.starts_with else b"")
        async with bench.listening(sending, hearing.hear, self.title):
            bench.note(f"sends {data.hex(' ').upper()}", data)
            with answered(bench, self) as reply:
                types = {**types_of(sending.format), **_READINGS}
                answer = await self.settled(bench, types, lambda: self._ask(bench, command, data, sending, hearing))
            if reply.refused:
                return
        if hearing.others:
            count = hearing.others
            bench.note(
                f"{sending.name} sent {counted(count, 'other notification')} that would have been taken "
                "for the answer; use 'starts_with' to pick the answer"
            )
        bench.reading("response_time", answer.response_time, "s")
        bench.value(answer.data, sending)

    async def _ask(self, bench: Bench, command: Target, data: bytes, sending: Target, hearing: _Hearing) -> _Answer:
        bench.acts()
        started = bench.now()
        hearing.ask()
        with _until_lost(self, hearing, sending.name):
            try:
                await bench.link.write(
                    command.found.attribute, data, self.title, bench.time_left, response=self.response
                )
            except AttError as error:
                if "att_error" in self.until:
                    return _Answer(b"", 0.0, None, error)
                raise
            left = bench.time_left * 0.95
            if not await bench.until(hearing.came, left):
                raise NoAnswer(f"no answer on {sending.name} within {left:.3g} s of the write")
        assert hearing.answer is not None
        at, got = hearing.answer
        return _Answer(got, round(at - started, 6), sending.format)


@dataclass(frozen=True)
class _Answer:
    """What the device sent, in this format, or that it refused the write."""

    data: bytes
    response_time: float
    form: Format | None
    refusal: AttError | None = None

    @property
    def found(self) -> Mapping[str, Any]:
        if self.refusal is not None:
            return {"att_error": self.refusal.name}
        return decoded(self.form, self.data) | {"response_time": self.response_time, "att_error": NONE}


@contextlib.contextmanager
def _until_lost(step: Exchange, hearing: _Hearing, name: str) -> Iterator[None]:
    """A link that is meant to end may end with the answer, and not before it: NoAnswer."""
    try:
        yield
    except LinkLost as error:
        if not step.loses:
            raise
        if hearing.answer is None:
            raise NoAnswer(f"the link was lost before an answer arrived on {name}") from error


class _Hearing:
    """Takes what the characteristic sends: the first that fits after the write is the answer, `others` fit as well."""

    def __init__(self, bench: Bench, wanted: bytes) -> None:
        self.came = asyncio.Event()
        self.answer: tuple[float, bytes] | None = None
        self.others = 0
        self._asked = False
        self._bench, self._wanted = bench, wanted

    def ask(self) -> None:
        """What comes from now on may be the answer."""
        self._asked, self.answer = True, None
        self.came.clear()

    def hear(self, data: bytes) -> None:
        if not data.startswith(self._wanted):
            return
        if self._asked and self.answer is None:
            self.answer = self._bench.now(), bytes(data)
            self.came.set()
        else:
            self.others += 1
