"""What a simulated device does at an occasion beside, before or instead of what it should.

A behaviour is data: a frozen specification with the one key that a device file writes it with. It keeps nothing between
two occasions; what it needs of the time before is in the Moment.
"""

from __future__ import annotations

import asyncio
import random
from collections.abc import Coroutine, Iterable
from dataclasses import dataclass, replace
from enum import Enum
from functools import cache, cached_property
from typing import TYPE_CHECKING, Any, ClassVar, Protocol, get_type_hints

import msgspec

from benchrig.radio.virtual.words import Hex
from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration
from benchrig.values.share import Share

if TYPE_CHECKING:
    from benchrig.radio.virtual.band import Advertiser


class Unanswered(Exception):
    """There is no response to this request."""


class Refused(Exception):
    """The response is this ATT error."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


class On(Enum):
    """Occasions."""

    START = "the device is switched on"
    ASKED = "a central asks it for a connection"
    OPEN = "it begins to answer on a link"
    CONNECT = "a central has connected"
    REQUEST = "an ATT request has come"
    READ = "its characteristic is read"
    WRITE = "its characteristic is written"
    STORE = "what was written is carried out"
    NOTIFY = "a value of its characteristic is sent"
    LATER = "the time of an action has come"


class Actor(Protocol):
    """The device, as far as a behaviour may act on it."""

    @property
    def uptime(self) -> float: ...

    @property
    def is_running(self) -> bool: ...

    @property
    def advertiser(self) -> Advertiser: ...

    def chance(self, cause: str) -> random.Random: ...

    def spawn(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]: ...

    async def disconnect(self, connection: Any) -> None: ...

    def vanish(self, connection: Any) -> None: ...

    def reboot(self, away: float) -> None: ...

    def sleep(self, seconds: float) -> None: ...

    def delete_bonds(self) -> None: ...


@dataclass(frozen=True)
class Moment:
    """One occasion."""

    device: Actor
    number: int = 1  # which of its kind at this characteristic, this link or this device
    connection: Any = None  # the link on which it happens
    last: bytes | None = None  # what was answered to the last read that was answered, or was sent last
    value: bytes = b""  # what is about to be sent

    @cached_property
    def _seed(self) -> float:
        return self.device.chance("occasions").random()

    def draw(self, of: str) -> float:
        """0 to 1 by chance, for this occasion always the same; each `of` has its own."""
        return random.Random(f"{self._seed} {of}").random()


class When(msgspec.Struct, frozen=True, kw_only=True):
    """At which of the occasions, which count from 1; each of them by default. `times`: so many, and then no more; `after`:
    from this uptime on; `starts_with`: when what is sent begins so."""

    from_: int = msgspec.field(name="from", default=1)
    every: int = 1
    times: int | None = None
    after: Duration = Duration.of(0)
    share: Share = Share.from_source("100 %")
    starts_with: Hex = Hex(b"")

    def holds(self, moment: Moment, of: str = "") -> bool:
        """`of` is the key of what would happen then."""
        return (
            self.nth(moment.number) > 0
            and moment.device.uptime >= self.after.seconds
            and moment.value.startswith(self.starts_with)
            and (self.share.part >= 1 or moment.draw(of) < self.share.part)
        )

    def nth(self, number: int) -> int:
        """Which of the occasions with a fitting number this is; 0 for one without."""
        if number < self.from_ or number % self.every:
            return 0
        nth = number // self.every - (self.from_ - 1) // self.every
        return 0 if self.times is not None and nth > self.times else nth

    def misfits(self) -> Iterable[Misfit]:
        for key, number in (("from", self.from_), ("every", self.every), ("times", self.times)):
            if number is not None and number < 1:
                yield Misfit(f"expected a number from 1 on, found {number}", path=(key,))
        others = {"after": self.after.seconds, "share": self.share.part < 1, "starts_with": self.starts_with}
        for key in (key for key, is_given in others.items() if is_given and self.times is not None):
            yield Misfit(f"'times' goes with from and every, not with {key}", "keep one of the two", ("times",))


@dataclass(frozen=True)
class Update:
    """A value on its way to a subscriber. `under`: the name of the characteristic whose handle it gets."""

    value: bytes
    copies: int = 1
    is_held: bool = False  # until the next one has gone
    under: str = ""


class Behaviour(msgspec.Struct, frozen=True, kw_only=True):
    """A subclass has one field more: its name is the key in a device file, its type says what is written there. A key
    that is true or false stands for the behaviour itself."""

    on: ClassVar[frozenset[On]]
    is_answer: ClassVar[bool] = False  # it stands in place of the answer: there is only one of these
    is_pause: ClassVar[bool] = False  # nothing but time

    when: When = When()

    async def act(self, moment: Moment) -> None:
        """What comes before the answer. Raises Unanswered or Refused for another end than an answer."""

    def value(self, moment: Moment, value: bytes) -> bytes:
        """What is answered to a read, kept of a write, or sent, instead of this value."""
        return value

    def update(self, moment: Moment, update: Update) -> Update:
        """What becomes of a value that is sent."""
        return replace(update, value=self.value(moment, update.value))

    def lag(self, moment: Moment) -> float:
        """Seconds by which it is done later, without anybody waiting for it; infinite: never."""
        return 0.0

    def misfits(self) -> Iterable[Misfit]:
        """What is wrong with what stands at the key."""
        return ()


@cache
def key_of(kind: type[Behaviour]) -> tuple[str, Any]:
    """The key, and the type of what stands there."""
    key = next(name for name in kind.__struct_fields__ if name not in Behaviour.__struct_fields__)
    return key, get_type_hints(kind)[key]
