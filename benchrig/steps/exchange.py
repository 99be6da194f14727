"""exchange: a write and the notification that answers it."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from benchrig.errors import NoAnswer, UnfitValue
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import ReadingType, Step, value_readings
from benchrig.steps.bench import Bench
from benchrig.steps.notify import PROPERTIES
from benchrig.steps.payload import encode, hex_bytes, misfit_of
from benchrig.steps.refusal import ATT_ERROR, answered
from benchrig.values.limit import AnyValue


class Exchange(Step, kw_only=True):
    """Write to one attribute and wait for the notification or indication of `answer` (default: the same attribute).

    `starts_with` (hex bytes) picks the matching one when others come in between.
    """

    verb: ClassVar[str] = "exchange"
    writes: ClassVar[bool] = True

    exchange: AttributeName
    value: AnyValue | None = None
    raw: str | None = None
    response: bool = True
    answer: AttributeName | None = None
    starts_with: str | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if (self.value is None) == (self.raw is None):
            yield Misfit("an exchange needs either value or raw")
        if self.starts_with is not None:
            try:
                hex_bytes(self.starts_with)
            except UnfitValue as error:
                yield Misfit(error.message, path=("starts_with",))

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        misfit = misfit_of(names.meaning(self.exchange).format, self.value, self.raw)
        if misfit:
            raise misfit
        value = value_readings(names, self.answer or self.exchange)
        own = {
            "response_time": ReadingType("number", "s", "from the write request to the answer"),
            "att_error": ATT_ERROR,
        }
        return None if value is None else own | value

    async def run(self, bench: Bench) -> None:
        needs = ("write",) if self.response else ("write without response",)
        command = bench.target(self.exchange, needs)
        answer = bench.target(self.answer or self.exchange, PROPERTIES)
        data = encode(command.format, self.value, self.raw)
        wanted = hex_bytes(self.starts_with) if self.starts_with else b""
        came: asyncio.Future[tuple[float, bytes]] = asyncio.get_running_loop().create_future()

        asking = False

        def hear(got: bytes) -> None:
            # what the device sent before it was asked is no answer
            if asking and not came.done() and got.startswith(wanted):
                came.set_result((bench.now(), bytes(got)))

        characteristic: Any = answer.found.chain[1]
        await bench.subscribe(characteristic, hear, self.title)
        try:
            started = bench.now()
            bench.note(f"sends {data.hex(' ').upper()}")
            within, asking = bench.time_left, True
            with answered(bench) as reply:
                await bench.link.write(command.found.attribute, data, self.title, within, response=self.response)
            if reply.refused:
                return
            left = bench.time_left * 0.95
            if not await bench.until(came, left):
                raise NoAnswer(f"no answer on {answer.name} within {left:.3g} s of the write")
        finally:
            if not came.done():
                came.cancel()
            await bench.unsubscribe(characteristic, hear)
        at, got = came.result()
        bench.reading("response_time", round(at - started, 6), "s")
        bench.value(got, answer)
