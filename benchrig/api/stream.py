"""What an attribute sends, value by value, while other steps go on."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Mapping
from types import TracebackType
from typing import Any, Self

from benchrig.api.done import Done, Measured, with_unit
from benchrig.api.opened import OpenStep
from benchrig.api.reading import Request
from benchrig.api.run import GrowingRun
from benchrig.api.walk import Natives
from benchrig.errors import BenchrigError, InnerError, StepTimeout, UsageError
from benchrig.source.problem import Place
from benchrig.values.quantity import Duration

# So many values may wait for whoever takes them.
MOST_WAITING = 10_000


class Stream:
    """Values as they come: `async with link.stream(…) as values: async for value in values: …`. It ends with its link, or
    when its context is left; afterwards `statistics` has what a notify step measures."""

    def __init__(
        self, run: GrowingRun, device: str, name: str, keys: dict[str, object], quiet: Duration, place: Place
    ) -> None:
        self._run, self._device, self._name, self._keys = run, device, name, keys
        self._quiet, self._place = quiet, place
        self._samples = _Samples(f"{name}.")
        self._open: OpenStep | None = None
        self._done: Done | None = None
        self._is_left = False

    async def __aenter__(self) -> Self:
        if self._open is not None:
            raise UsageError("a stream is opened once", advice="ask the link for another one")
        self._samples.begin()
        asked = Request("listen", {self._name: self._heard}, self._keys_of_step, self._device, self._place)
        self._open = await self._run.hold_open(asked, self._samples, self._samples.news.set)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._samples.is_taken = False
        if self._is_left:
            return
        try:
            await self._leave(error)
        except InnerError:
            return  # a step that went on meanwhile has raised it already
        except BenchrigError:
            if error is None:
                raise

    async def _leave(self, error: BaseException | None = None) -> None:
        self._is_left = True
        self._done = await self._run.leave(self._held, self._samples, error)

    @property
    def _held(self) -> OpenStep:
        if self._open is None:
            raise UsageError("the stream is not open", advice="write: async with link.stream(…) as values")
        return self._open

    def __aiter__(self) -> Self:
        return self

    async def __anext__(self) -> Any:
        """The next value: a Quantity where there is a unit, a mapping for a structure. LinkLost, UsageError where too many wait,
        StepTimeout where none comes."""
        held = self._held
        deadline = asyncio.get_running_loop().time() + self._quiet.seconds
        while not self._samples.waiting:
            await self._check(held)
            self._samples.news.clear()
            try:
                async with asyncio.timeout_at(deadline):
                    await self._samples.news.wait()
            except TimeoutError:
                await self._leave()  # what it comes to says more: bytes that fit no value are none either
                said = f"no value of {self._name} arrived for {self._quiet}"
                raise self._run.blamed(StepTimeout(said)) from None
        return self._samples.waiting.popleft()

    async def _check(self, held: OpenStep) -> None:
        """See that more is to come."""
        if self._samples.has_overflown:
            said = f"{MOST_WAITING} values of {self._name} waited to be taken, and more arrived"
            raise self._run.blamed(UsageError(said, advice="take them sooner, or use notify for its statistics alone"))
        if held.is_over.is_set() and not self._is_left:
            await self._leave()
        if self._is_left or held.is_mute:
            raise StopAsyncIteration

    @property
    def statistics(self) -> Mapping[str, Measured]:
        """The readings of a notify step: count, rate, gap_max, gap_p95, lost, …"""
        readings = self._done.readings if self._done is not None else {}
        prefix = f"{self._name}."
        return {name.removeprefix(prefix): each for name, each in readings.items() if name.startswith(prefix)}

    @property
    def _heard(self) -> dict[str, object]:
        return {key: self._keys[key] for key in _OF_STREAM if self._keys.get(key) is not None}

    @property
    def _keys_of_step(self) -> dict[str, object]:
        """Limits have the name of the stream before them there."""
        keys = {key: value for key, value in self._keys.items() if key not in _OF_STREAM}
        expect = keys.get("expect")
        if isinstance(expect, Mapping):
            keys["expect"] = {f"{self._name}.{name}": limit for name, limit in expect.items()}
        return keys


_OF_STREAM = ("counter", "mode", "format")


class _Samples(Natives):
    """Puts the readings of each sample together again: they come one by one, before the loop goes on."""

    def __init__(self, prefix: str) -> None:
        super().__init__(wanted=None)
        self.waiting: deque[Any] = deque()
        # whether too many waited, and whether somebody still takes them
        self.has_overflown, self.is_taken = False, True
        self._prefix, self._sample, self._raw = prefix, dict[str, Any](), b""

    def begin(self) -> None:
        self.news, self._loop = asyncio.Event(), asyncio.get_running_loop()

    def measured(self, step: str, reading: str, value: Any, unit: str, raw: bytes | None) -> None:
        if step != self.step:
            return
        name = reading.removeprefix(self._prefix)
        if name == "value" or name.startswith("value."):
            self._take(name.removeprefix("value").removeprefix("."), with_unit(value, unit), raw or b"")
        else:
            super().measured(step, reading, value, unit, raw)

    def _take(self, field: str, value: Any, raw: bytes) -> None:
        if field in self._sample or raw is not self._raw:
            self._flush()
        if not self._sample:
            self._loop.call_soon(self._flush)
        self._sample[field], self._raw = value, raw

    def _flush(self) -> None:
        if not self._sample:
            return
        sample, self._sample = self._sample, {}
        if self.is_taken and len(self.waiting) < MOST_WAITING:
            self.waiting.append(sample.get("", sample))
        elif self.is_taken:
            self.has_overflown = True
        self.news.set()
