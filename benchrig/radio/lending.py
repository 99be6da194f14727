"""One open radio for several runs at once: each has links, remarks and troubles of its own, and closes no more than these."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field

from benchrig.errors import BenchrigError, InternalError
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Report, Selection
from benchrig.radio.turns import Turns, Use
from benchrig.tasks import Tasks

Opener = Callable[[], Awaitable[Radio]]

# The runs on a radio that has failed end at once; one that does not is not waited for.
GIVEN_BACK_WITHIN = 30.0
# A system that tells a device once a scan is to tell its level some times a second.
LISTENS_ANEW_AFTER = 0.4


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
    _scan: _Scan | None = None

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

    @contextlib.asynccontextmanager
    async def heard_by(self, hear: Callable[[Report], object]) -> AsyncIterator[None]:
        """Let this be told of everything that is heard while the context is open, beside all runs. Who listens at the same
        time shares a scan, unless somebody waits for its end. StationError, where the context ends if the radio fails in it."""
        if self._scan is None or not self._scan.takes_more:
            self._scan = _Scan(self)
        async with self._scan.heard_by(hear):
            yield

    async def close(self) -> None:
        """What is still lent is closed first. InternalError when something failed unseen meanwhile."""
        async with self._lock:
            for radio in [*self._lent.values()]:
                with contextlib.suppress(BenchrigError):
                    await radio.close()
            if isinstance(error := await self._close(), InternalError):
                raise error

    async def _close(self) -> Exception | None:
        """What went wrong with that: of a radio that has failed nothing else is to be expected."""
        radio, self._radio = self._radio, None
        if radio is None:
            return None
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(GIVEN_BACK_WITHIN):
                await self._all_back.wait()
        try:
            await radio.close()
        except Exception as error:
            return error
        return None


class _Scan:
    """One scan for all who listen beside the runs."""

    def __init__(self, shared: SharedRadio) -> None:
        self._shared = shared
        self._hearing: list[Callable[[Report], object]] = []
        self._tasks = Tasks()
        self._begun, self._over = asyncio.Event(), asyncio.Event()
        self._task: asyncio.Task[None] | None = None

    @property
    def takes_more(self) -> bool:
        """Not once it ends, nor where it would keep somebody waiting."""
        return not self._over.is_set() and not self._shared.turns.is_waited_for

    @contextlib.asynccontextmanager
    async def heard_by(self, hear: Callable[[Report], object]) -> AsyncIterator[None]:
        task = self._task = self._task or self._tasks.start(self._work())
        self._tasks.ignore(task)
        self._hearing.append(hear)
        begun = self._tasks.start(self._begun.wait())
        try:
            await asyncio.wait({task, begun}, return_when=asyncio.FIRST_COMPLETED)
            if not task.done():
                yield
        finally:
            self._tasks.drop(begun)
            self._hearing.remove(hear)
            if not self._hearing:
                self._over.set()
                if not self._begun.is_set():  # it may have to wait for its turn for long
                    task.cancel()
                await asyncio.wait({task})
        if task.done():
            task.result()

    async def _work(self) -> None:
        radio = await self._shared.lend()
        radio.scans_anew_after = LISTENS_ANEW_AFTER
        try:
            async with self._shared.turns.hold(Use.HEAR), radio.scanning(self._heard, anew=lambda: True):
                self._begun.set()
                await self._over.wait()
        finally:
            self._over.set()
            await radio.close()

    def _heard(self, report: Report) -> None:
        for hear in [*self._hearing]:
            hear(report)
