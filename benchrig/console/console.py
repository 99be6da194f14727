"""One console: who listens to it, what no step has seen yet, what is sent."""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import Awaitable, Callable, Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from benchrig.console.lines import Line, Splitter
from benchrig.console.log import ConsoleLog
from benchrig.errors import BenchrigError, StationError

if TYPE_CHECKING:
    from benchrig.console.log import Keeping

# After so many seconds of silence a line without an end is one: a prompt, last words.
UNFINISHED = 0.5
# Lines that wait for a step; of more the oldest are dropped, and counted.
MOST_UNSEEN = 10_000


# Takes a line, without its end, to the unit. Raises DeviceError and StationError.
Sender: TypeAlias = Callable[[str], Awaitable[None]]


class Listener(NamedTuple):
    """`hear` gets each line; `gone` is told that no more will come, and why."""

    hear: Callable[[Line], None]
    gone: Callable[[BenchrigError], None]


class Console:
    """`name` as people know it: 'the console of ./firmware'. Without `keeping` nothing is kept of it."""

    def __init__(self, name: str, keeping: Keeping | None = None, *, file: str = "console") -> None:
        self.name = name
        self.count = 0
        self.dropped = 0  # lines that no step has seen, since the last one that looked
        self.gone: BenchrigError | None = None
        # whether silence says something of the unit: it comes from here, and over no wire that may be dead
        self.is_sure = True
        self.sender: Sender | None = None
        # finds again, in so many seconds, what went with the power of the unit; StationError
        self.reopen: Callable[[float], Awaitable[None]] | None = None
        self._has_power, self._cut = True, False
        self._log = ConsoleLog(keeping, file) if keeping else None
        self._splitter = Splitter()
        self._unseen: deque[Line] = deque()
        self._listeners: list[Listener] = []
        self._news = asyncio.Event()
        self._timer: asyncio.TimerHandle | None = None

    @property
    def is_proven(self) -> bool:
        """Whether its silence would be the unit's: over a wire once a line has been heard."""
        return self.is_sure or self.count > 0

    # --- from the unit

    def feed(self, data: bytes) -> None:
        """Octets as they come."""
        self._take(self._splitter.feed(data))
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._splitter.is_open:
            self._timer = asyncio.get_running_loop().call_later(UNFINISHED, self.finish_line)

    def put(self, text: str) -> None:
        """A whole line."""
        self.feed(text.encode("utf-8", "surrogatepass") + b"\n")

    def finish_line(self) -> None:
        """What has begun is a line: the unit is off, or silent."""
        self._take(self._splitter.end())

    def _take(self, texts: Iterable[str]) -> None:
        at = asyncio.get_running_loop().time()
        lines = [Line(self.count + index, at, text) for index, text in enumerate(texts, 1)]
        if not lines:
            return
        self.count += len(lines)
        self._unseen.extend(lines)
        while len(self._unseen) > MOST_UNSEEN:
            self._unseen.popleft()
            self.dropped += 1
        if self._log:
            self._log.add(lines)
            self._log.flush()
        for listener in [*self._listeners]:
            for line in lines:
                listener.hear(line)
        self._news.set()

    def lose(self, error: BenchrigError) -> None:
        """Nothing more will come of it."""
        self.finish_line()
        if not self._has_power:
            self._cut = True
        elif self.gone is None:
            self.gone = error
            for listener in [*self._listeners]:
                listener.gone(error)
        self._news.set()

    def power_down(self) -> None:
        """The unit loses its power: what it has printed counts as seen, and that it falls silent is no loss."""
        self.forget()
        self._has_power = False

    async def power_up(self, within: float) -> None:
        """It has power again. StationError when its wire does not come back."""
        self._has_power = True
        cut, self._cut = self._cut, False
        if cut and self.reopen is not None:
            await self.reopen(within)

    def back(self) -> None:
        """The unit has been started again: there may be more."""
        self.gone = None

    # --- for steps

    def unseen(self) -> Iterator[Line]:
        """The lines that no step has seen, oldest first; each counts as seen once it was taken from here."""
        while self._unseen:
            yield self._unseen.popleft()

    def forget(self) -> int:
        """All lines so far count as seen; how many there were that no step had seen."""
        count = len(self._unseen) + self.dropped
        self._unseen.clear()
        self.dropped = 0
        return count

    async def more(self, seconds: float) -> bool:
        """Wait for a line, or for the end of the console; False when neither comes within the time."""
        if self._unseen or self.gone:
            return True
        self._news.clear()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._news.wait()
        return bool(self._unseen or self.gone)

    @contextlib.contextmanager
    def listening(
        self, hear: Callable[[Line], None], gone: Callable[[BenchrigError], None] = lambda error: None
    ) -> Iterator[None]:
        """`hear` gets each line that is printed while the context is open. Steps see it all the same."""
        listener = Listener(hear, gone)
        self._listeners.append(listener)
        try:
            yield
        finally:
            self._listeners.remove(listener)

    async def send(self, text: str) -> None:
        """Raises DeviceError and StationError."""
        if self.gone is not None:
            raise self.gone
        if self.sender is None:
            raise StationError(f"{self.name} takes no input")
        if self._log:
            self._log.sent(asyncio.get_running_loop().time(), text)
        await self.sender(text)

    # --- the end

    def close(self) -> None:
        self.finish_line()
        if self._timer is not None:
            self._timer.cancel()
        if self._log:
            self._log.close()

    @property
    def kept_in(self) -> str:
        """The name of its file in the folder of the run; '' where nothing is kept."""
        return self._log.name if self._log else ""

    def remark(self) -> str:
        """For the record: what is kept of it; '' when it printed nothing."""
        return self._log.remark() if self._log else ""
