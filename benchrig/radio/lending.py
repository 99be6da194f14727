"""One open radio for several runs at once: each has links, remarks and troubles of its own, and closes no more than these."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from benchrig.errors import BenchrigError
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection
from benchrig.radio.turns import Turns

Opener = Callable[[], Awaitable[Radio]]

# The runs on a radio that has failed end at once; one that does not is not waited for.
GIVEN_BACK_WITHIN = 30.0


@dataclass
class SharedRadio:
    """Opened when it is first lent, and anew after it has failed. `links` is how many links it may hold at once."""

    opener: Opener
    links: int = 1
    turns: Turns = field(default_factory=Turns)
    _radio: Radio | None = None
    # by identity: radios are equal when their fields are
    _lent: dict[int, Radio] = field(default_factory=dict)
    _said: list[str] = field(default_factory=list)
    _all_back: asyncio.Event = field(default_factory=asyncio.Event)
    _lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    _places: asyncio.Semaphore = field(init=False)

    def __post_init__(self) -> None:
        self._places = asyncio.Semaphore(self.links)
        self._all_back.set()

    @property
    def place(self) -> asyncio.Semaphore:
        """One of its links, for as long as the context is open; who waits longest is next."""
        return self._places

    async def open(self) -> Radio:
        """As it is open; StationError when it cannot be opened. One that has failed is closed when its runs are over, and
        opened anew."""
        async with self._lock:
            if self._radio is not None and await self._radio.fault() is not None:
                await self._close()
            if self._radio is None:
                self._radio = radio = await self.opener()
                self.turns.one_at_a_time = radio.one_at_a_time
                try:
                    self._said = await radio.prepare(Selection())
                except BaseException:
                    await self._close()
                    raise
            return self._radio

    async def lend(self, *, without: frozenset[str] = frozenset()) -> Radio:
        """For one run, which closes it. It does not hear the addresses `without`. StationError when the radio does not
        open."""
        radio = (await self.open()).for_run(without)
        radio.to_tell, self._said = [*self._said, *radio.to_tell], []
        self._lent[id(radio)] = radio
        self._all_back.clear()
        own = radio.on_close

        async def given_back() -> None:
            try:
                await own()
            finally:
                self._given_back(radio)

        radio.on_close = given_back
        return radio

    def _given_back(self, radio: Radio) -> None:
        self._lent.pop(id(radio), None)
        if not self._lent:
            self._all_back.set()

    async def close(self) -> None:
        """What is still lent is closed first. BenchrigError as of the radio's own close."""
        async with self._lock:
            for radio in [*self._lent.values()]:
                await radio.close()
            await self._close()

    async def _close(self) -> None:
        radio, self._radio = self._radio, None
        if radio is None:
            return
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(GIVEN_BACK_WITHIN):
                await self._all_back.wait()
        with contextlib.suppress(BenchrigError):
            await radio.close()
