"""exchange: a write and the notification that answers it."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping
from typing import ClassVar

from benchrig.errors import NoAnswer, UnfitValue
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import ReadingType, Step, value_readings
from benchrig.steps.bench import Bench
from benchrig.steps.payload import hex_bytes, misfit_of, sent_by
from benchrig.steps.refusal import ATT_ERROR, answered, is_withheld, request_target, unanswered
from benchrig.steps.subscription import sender
from benchrig.values.limit_keys import AnyValue


class Exchange(Step, kw_only=True):
    """Write to one attribute and wait for the notification or indication of `reply` (default: the same attribute).

    `starts_with` (hex bytes) picks the matching one when others come in between.
    """

    verb: ClassVar[str] = "exchange"
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
        own = {
            "response_time": ReadingType("number", "s", "from the write request to the answer"),
            "att_error": ATT_ERROR,
        }
        return None if value is None else own | value

    async def run(self, bench: Bench) -> None:
        needs = ("write",) if self.response else ("write without response",)
        command = request_target(bench, self, self.exchange, needs)
        answer = sender(bench, self.reply or self.exchange)
        data = sent_by(self, command.format, self.value, self.raw)
        if is_withheld(bench):
            return
        hearing = _Hearing(bench, hex_bytes(self.starts_with) if self.starts_with else b"")
        async with bench.listening(answer, hearing.hear, self.title):
            bench.note(f"sends {data.hex(' ').upper()}", data)
            started, hearing.asked = bench.now(), True
            with answered(bench, self) as reply:
                await bench.link.write(
                    command.found.attribute, data, self.title, bench.time_left, response=self.response
                )
            if reply.refused:
                return
            left = bench.time_left * 0.95
            if not await bench.until(hearing.came, left):
                raise NoAnswer(f"no answer on {answer.name} within {left:.3g} s of the write")
        if hearing.others:
            count = hearing.others
            bench.note(
                f"{answer.name} sent {counted(count, 'other notification')} that would have been taken "
                "for the answer; use 'starts_with' to pick the answer"
            )
        assert hearing.answer is not None
        at, got = hearing.answer
        bench.reading("response_time", round(at - started, 6), "s")
        bench.value(got, answer)


class _Hearing:
    """Takes what the characteristic sends: the first that fits after the write is the answer, `others` fit as well."""

    def __init__(self, bench: Bench, wanted: bytes) -> None:
        self.came = asyncio.Event()
        self.answer: tuple[float, bytes] | None = None
        self.asked = False
        self.others = 0
        self._bench, self._wanted = bench, wanted

    def hear(self, data: bytes) -> None:
        if not data.startswith(self._wanted):
            return
        if self.asked and self.answer is None:
            self.answer = self._bench.now(), bytes(data)
            self.came.set()
        else:
            self.others += 1
