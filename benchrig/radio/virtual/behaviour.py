"""What a simulated device does at an occasion beside, before or instead of what it should.

A behaviour is data: a frozen specification with the one key that a device file writes it with. It keeps nothing between
two occasions; what it needs of the time before is in the Moment.
"""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine, Iterable
from dataclasses import dataclass
from enum import Enum
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Protocol, get_type_hints

import msgspec

from benchrig.source.shape import Misfit

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
    CONNECT = "a central has connected"
    READ = "its characteristic is read"
    WRITE = "its characteristic is written"
    LATER = "the time of an action has come"


class Actor(Protocol):
    """The device, as far as a behaviour may act on it."""

    @property
    def uptime(self) -> float: ...

    @property
    def advertiser(self) -> Advertiser: ...

    def spawn(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]: ...

    async def disconnect(self, connection: Any) -> None: ...

    def reboot(self, away: float) -> None: ...

    def sleep(self, seconds: float) -> None: ...

    def delete_bonds(self) -> None: ...


@dataclass(frozen=True)
class Moment:
    """One occasion."""

    device: Actor
    number: int = 1  # which of its kind at this characteristic, or this device
    connection: Any = None  # the link on which it happens
    last: bytes | None = None  # what was answered to the last read that was answered


class When(msgspec.Struct, frozen=True, kw_only=True):
    """At which of the occasions, which count from 1; each of them by default."""

    every: int = 1
    first: int | None = None  # so many, and then no more
    after: float = 0.0  # from this uptime on, in seconds

    def holds(self, moment: Moment) -> bool:
        within = self.first is None or moment.number <= self.first
        return within and moment.number % self.every == 0 and moment.device.uptime >= self.after


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
        """What is answered to a read, instead of this value."""
        return value

    def misfits(self) -> Iterable[Misfit]:
        """What is wrong with what stands at the key."""
        return ()


@cache
def key_of(kind: type[Behaviour]) -> tuple[str, Any]:
    """The key, and the type of what stands there."""
    key = next(name for name in kind.__struct_fields__ if name not in Behaviour.__struct_fields__)
    return key, get_type_hints(kind)[key]
