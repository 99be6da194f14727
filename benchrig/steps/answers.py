"""Several answers that are one value: which of them is the last, what of each is header, how they are joined."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Iterator
from typing import ClassVar

import msgspec

from benchrig.errors import MalformedPdu, UnfitValue
from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.payload import hex_bytes
from benchrig.steps.size import Size
from benchrig.values.judging import shown
from benchrig.values.statistics import Arrivals, Sequence

# Bytes of all answers together that a plan may ask for.
MOST = 1 << 24


def hex_misfits(text: str | None, path: tuple[str | int, ...]) -> Iterator[Misfit]:
    try:
        if text is not None and not hex_bytes(text):
            yield Misfit("no bytes", "for example: 'FF'", path)
    except UnfitValue as error:
        yield Misfit(error.message, error.advice, path)


class Last(msgspec.Struct, frozen=True, omit_defaults=True):
    """What tells the last answer."""

    direct: ClassVar[str] = "starts_with"

    starts_with: str | None = None
    equals: str | None = None
    shorter_than: Size | None = None
    count: int | None = None

    def misfits(self) -> Iterable[Misfit]:
        given = [name for name in self.__struct_fields__ if getattr(self, name) is not None]
        if len(given) != 1:
            said = f"this has {', '.join(given)}" if given else "this has none"
            yield Misfit(
                f"the last answer is told by one key, {said}", f"write one of {', '.join(self.__struct_fields__)}"
            )
        yield from hex_misfits(self.starts_with, ("starts_with",))
        yield from hex_misfits(self.equals, ("equals",))
        if self.count is not None and self.count < 1:
            yield Misfit("count must be at least 1", "for example: 10", ("count",))


class Answers(msgspec.Struct, frozen=True, omit_defaults=True):
    """The answers of one exchange: `skip` bytes at the begin of each are no part of the value, `counter` is the place of
    the byte that counts them, `most` the bytes of all together."""

    last: Last
    skip: int = 0
    counter: int | None = None
    most: int = 65536

    def misfits(self) -> Iterable[Misfit]:
        if self.skip < 0:
            yield Misfit("skip must be 0 bytes or more", "for example: 1", ("skip",))
        if self.counter is not None and not 0 <= self.counter < self.skip:
            advice = f"write skip: {self.counter + 1} or more" if self.counter >= 0 else "0 is the first byte"
            yield Misfit(f"the counter is a byte of the header, from 0; skip is {self.skip}", advice, ("counter",))
        if not 1 <= self.most <= MOST:
            yield Misfit(f"most must be from 1 to {MOST} bytes", "for example: 65536", ("most",))


ONE = Answers(Last(count=1))


class Joining:
    """Takes the answers to one request and joins them. `complete` is set after the last one, or after an error."""

    def __init__(self, answers: Answers, payload: int) -> None:
        self.complete = asyncio.Event()
        self.value = bytearray()
        self.error: MalformedPdu | None = None
        self.latest = b""
        self.arrivals = Arrivals()
        self.sequence = Sequence(256)
        self._answers, self._last = answers, answers.last
        self._prefix, self._mark = (
            hex_bytes(text) if text else b"" for text in (self._last.starts_with, self._last.equals)
        )
        self._short = self._last.shorter_than.of(payload) if self._last.shorter_than else 0

    @property
    def count(self) -> int:
        return self.arrivals.count

    def take(self, at: float, data: bytes) -> None:
        self.latest = data
        part, is_last = self._part(data), self._is_last(data)
        self.arrivals.add(at, len(part))
        self.value += part
        self._count(data, is_last)
        if len(self.value) > self._answers.most:
            self._fail(f"more than {self._answers.most} bytes arrived, and {self.lacking}")
        elif is_last:
            self.arrivals.end(at)
            self.complete.set()

    def _part(self, data: bytes) -> bytes:
        """What belongs to the value. An answer that equals the end mark is the mark alone."""
        if self._mark and data == self._mark:
            return b""
        if len(data) < self._answers.skip:
            self._fail(f"answer {self.count + 1} is shorter than its header of {counted(self._answers.skip, 'byte')}")
        return bytes(data[self._answers.skip :])

    def _is_last(self, data: bytes) -> bool:
        if self._last.count is not None:
            return self.count + 1 == self._last.count
        if self._short:
            return len(data) < self._short
        return data.startswith(self._prefix) if self._prefix else data == self._mark

    def _count(self, data: bytes, is_last: bool) -> None:
        """A mark that stands where the counter is counts nothing."""
        place = self._answers.counter
        marked = is_last and (bool(self._mark) or (place is not None and place < len(self._prefix)))
        if place is not None and not marked and place < len(data):
            self.sequence.add(data[place])

    def _fail(self, message: str) -> None:
        self.error = self.error or MalformedPdu(message)
        self.complete.set()

    @property
    def lacking(self) -> str:
        """What keeps the answers so far from being all."""
        if self._last.count is not None:
            return f"{self._last.count} were expected"
        if self._short:
            return f"none was shorter than {counted(self._short, 'byte')}"
        return f"none began with {shown(self._prefix)}" if self._prefix else f"none was {shown(self._mark)}"

    @property
    def lost(self) -> int | None:
        """What the counter shows to be missing; None where it went back."""
        return 0 if self.sequence.count < 2 else self.sequence.lost

    @property
    def duplicated(self) -> int:
        return self.sequence.duplicated or 0


class Hearing:
    """Takes what the characteristic sends: what fits after the write are the answers, `others` fit as well."""

    def __init__(self, now: Callable[[], float], wanted: bytes, answers: Answers, payload: int) -> None:
        self.others = 0
        # what came after the write and did not fit, and the last of that
        self.unfit, self._odd = 0, b""
        self._now, self._wanted, self._answers, self._payload = now, wanted, answers, payload
        self._joining: Joining | None = None

    def ask(self) -> Joining:
        """What comes from now on are the answers."""
        self._joining = Joining(self._answers, self._payload)
        self.unfit = 0
        return self._joining

    def hear(self, data: bytes) -> None:
        if not data.startswith(self._wanted):
            self.unfit, self._odd = self.unfit + 1, bytes(data)
        elif self._joining is None or self._joining.complete.is_set():
            self.others += 1
        else:
            self._joining.take(self._now(), bytes(data))

    @property
    def told_unfit(self) -> str:
        """What came where no answer did; '' where nothing came."""
        if not self.unfit:
            return ""
        one = self.unfit == 1
        came = f"{counted(self.unfit, 'notification')} arrived, {'it does not begin' if one else 'none begins'}"
        return f"{came} with {shown(self._wanted)}; {'it' if one else 'the last'} is {shown(self._odd)}"


def missing(joining: Joining, name: str, within: float, unfit: str = "") -> str:
    """What is said where the answers are not all there in time."""
    if not joining.count:
        return f"no answer on {name} within {within:.3g} s of the write" + (f": {unfit}" if unfit else "")
    latest = f"{'the last' if joining.count > 1 else 'it'} is {shown(joining.latest)}"
    arrived = f"{counted(joining.count, 'answer')} arrived on {name} within {within:.3g} s of the write"
    return f"{arrived}, and {joining.lacking}; {latest}"
