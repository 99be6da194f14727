"""exchange: a write and the notifications that answer it, once or again until the answer is what is waited for."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from benchrig.errors import AttError, LinkLost, MalformedValue, NoAnswer, PropertyMissing
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.answers import ONE, Answers, Hearing, Joining, hex_misfits, missing
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.base import ReadingType, decoded, types_of, value_readings
from benchrig.steps.bench import Bench, Target
from benchrig.steps.listening import too_few
from benchrig.steps.loss import LOSS
from benchrig.steps.payload import hex_bytes, misfit_of, sent_by
from benchrig.steps.refusal import ATT_ERROR, NONE, answered, is_withheld, request_target, unanswered
from benchrig.steps.subscription import sender
from benchrig.steps.waiting import Polling
from benchrig.values.format import Format, FormatSpec
from benchrig.values.limit_keys import AnyValue

_READINGS = {
    "response_time": ReadingType("number", "s", "from the write request to the first answer"),
    "raw": ReadingType("bytes", "", "the bytes of the answer, without headers"),
    "length": ReadingType("number", "bytes", "number of these bytes"),
    "att_error": ATT_ERROR,
    **LOSS,
}
_OF_SEVERAL = {
    "count": ReadingType("number", "", "answers that arrived"),
    "elapsed": ReadingType("number", "s", "from the write request to the last answer"),
    "throughput": ReadingType("number", "kbit/s", "bytes of the value per second from the first answer on"),
    "gap_max": ReadingType("number", "s", "longest time between two answers"),
}
_COUNTED = {
    "lost": ReadingType("number", "", "answers that the counter shows to be missing"),
    "duplicated": ReadingType("number", "", "answers that the counter shows to have come again"),
}


class Exchange(Polling, kw_only=True):
    """Write to one attribute and wait for the notification or indication of `reply` (default: the same attribute), or for
    several of them that are one value.

    `starts_with` (hex bytes) picks the matching ones when others come in between.
    """

    verb: ClassVar[str] = "exchange"
    usual: ClassVar[str] = "value"
    may_lose: ClassVar[bool] = True
    writes: ClassVar[bool] = True
    elsewhere: ClassVar[dict[str, str]] = {"answer": "write 'reply', or 'answers' for several"}
    of_the_whole: ClassVar[frozenset[str]] = Polling.of_the_whole | LOSS.keys()

    exchange: AttributeName
    value: AnyValue | None = None
    raw: str | None = None
    response: bool = True
    reply: AttributeName | None = None
    starts_with: str | None = None
    answers: Answers | None = None
    format: FormatSpec | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        if (self.value is None) == (self.raw is None):
            yield Misfit("an exchange needs either value or raw", "for example: raw: '01 A0'")
        if not self.response:
            yield from unanswered(self)
        yield from hex_misfits(self.starts_with, ("starts_with",))
        if self.answers is None or self.answers.counter is None:
            for name in [name for name in _COUNTED if name in self.expect]:
                advice = "add counter: to answers, the place of the byte in the header"
                yield Misfit(f"'{name}' needs a counter", advice, ("expect", name))

    def own_format(self) -> Format | None:
        return self.format.built if self.format else None

    def readings(self, names: Names) -> Mapping[str, ReadingType] | None:
        misfit = misfit_of(self, names.meaning(self.exchange).format, self.value, self.raw)
        if misfit:
            raise misfit
        value = value_readings(names, self.reply or self.exchange, self.own_format())
        return None if value is None else {**self._own_readings(), **value, **self.waiting_readings()}

    def _own_readings(self) -> dict[str, ReadingType]:
        several = _OF_SEVERAL if self.answers else {}
        return _READINGS | several | (_COUNTED if self.answers and self.answers.counter is not None else {})

    async def run(self, bench: Bench) -> None:
        needs = ("write",) if self.response else ("write without response",)
        command = request_target(bench, self, self.exchange, needs)
        sending = self._sender(bench)
        data = sent_by(self, command.format, self.value, self.raw)
        if is_withheld(bench, command, needs):
            return
        payload = await bench.link.settled_payload() if self.answers else 0
        hearing = Hearing(bench.now, hex_bytes(self.starts_with or ""), self.answers or ONE, payload)
        async with bench.listening(sending, hearing.hear, self.title):
            bench.note(f"sends {data.hex(' ').upper()}", data)
            with answered(bench, self, data) as reply:
                types = {**types_of(self.own_format() or sending.format), **self._own_readings()}
                answer = await self.settled(bench, types, lambda: self._ask(bench, command, data, sending, hearing))
            if reply.refused:
                return
        if hearing.others:
            bench.note(
                f"{sending.name} sent {counted(hearing.others, 'other notification')} that would have been taken "
                "for the answer; use 'starts_with' to pick the answer"
            )
        self._report(bench, answer, sending)

    def _sender(self, bench: Bench) -> Target:
        try:
            return sender(bench, self.reply or self.exchange)
        except PropertyMissing as error:
            if self.reply is None:
                error.advice = "if another characteristic sends the answer, add reply: and its name"
            raise

    def _report(self, bench: Bench, answer: _Answer, sending: Target) -> None:
        for name, value in answer.readings.items():
            if name == "response_time" or bench.wanted(name):
                unit, why = self._own_readings()[name].unit, answer.why(name) if value is None else ""
                raw = value if isinstance(value, bytes) else None
                bench.reading(name, value, unit, raw, why=why)
        bench.value(answer.data, sending, own=self.own_format())
        self._check_complete(answer, sending)

    def _check_complete(self, answer: _Answer, sending: Target) -> None:
        """Pieces that are missing or came twice make no value, whatever its limits say; a limit on the one or the other
        decides about that one."""
        shown = {name: answer.readings.get(name, 0) for name in _COUNTED}
        if all(count == 0 or name in self.limits for name, count in shown.items()):
            return
        said = [answer.why(name) if count is None else f"{count} {name}" for name, count in shown.items()]
        raise MalformedValue(f"{sending.name}: the answers are not complete by their counter: {', '.join(said)}")

    async def _ask(self, bench: Bench, command: Target, data: bytes, sending: Target, hearing: Hearing) -> _Answer:
        bench.acts()
        joining = hearing.ask()
        started = bench.now()
        with _until_lost(bench, joining, sending.name):
            try:
                await bench.link.write(
                    command.found.attribute, data, self.title, bench.time_left, response=self.response
                )
            except AttError as error:
                if "att_error" in self.until:
                    return _Answer(started, joining, None, refusal=error)
                raise
            left = bench.time_left * 0.95
            if not await bench.until(joining.complete, left):
                raise NoAnswer(missing(joining, sending.name, left, hearing.told_unfit))
        if joining.error is not None:
            raise joining.error
        return _Answer(started, joining, self.own_format() or sending.format, self.answers)


@dataclass(frozen=True)
class _Answer:
    """What the device sent, in this format, or that it refused the write."""

    started: float
    joining: Joining
    form: Format | None
    answers: Answers | None = None
    refusal: AttError | None = None

    @property
    def data(self) -> bytes:
        return bytes(self.joining.value)

    @property
    def found(self) -> Mapping[str, Any]:
        if self.refusal is not None:
            return {"att_error": self.refusal.name}
        return decoded(self.form, self.data) | self.readings | {"att_error": NONE}

    @property
    def readings(self) -> dict[str, Any]:
        """Those beside the value; None for one that has none."""
        joining, arrivals, data = self.joining, self.joining.arrivals, self.data
        found = {"response_time": round(arrivals.first - self.started, 6), "raw": data, "length": len(data)}
        if self.answers is None:
            return found
        bit_rate, gap = arrivals.bit_rate, arrivals.gap_max
        found |= {
            "count": joining.count,
            "elapsed": round(arrivals.last - self.started, 6),
            "throughput": None if bit_rate is None else round(bit_rate / 1000, 6),
            "gap_max": None if gap is None else round(gap, 6),
        }
        if self.answers.counter is not None:
            found |= {"lost": joining.lost, "duplicated": joining.duplicated}
        return found

    def why(self, name: str) -> str:
        """Why a reading has no value."""
        return "the counter went back" if name == "lost" else too_few(self.joining.count, 2)


@contextlib.contextmanager
def _until_lost(bench: Bench, joining: Joining, name: str) -> Iterator[None]:
    """A link that is meant to end may end with the answer, and not before it: NoAnswer."""
    try:
        yield
    except LinkLost as error:
        if not bench.may_lose:
            raise
        if not joining.complete.is_set():
            raise NoAnswer(f"the link was lost before an answer arrived on {name}") from error
