"""What changes in the advertising data of a device: octets that come anew with each address, and a counter.

manufacturer: {company: 0xFFFF, data: '01', fresh: 4, counter: {bytes: 2, every: 10 s, anew: true}}
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Protocol

import msgspec

from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration

if TYPE_CHECKING:
    import random

_MOST_BYTES = 8
_FASTEST = 0.02


class CounterSpec(msgspec.Struct, kw_only=True, frozen=True):
    """A number, least significant octet first, that rises by one `every` so long; `anew`: from somewhere else with each
    address."""

    bytes: int = 2
    every: Duration = Duration.of(1)
    anew: bool = False

    def misfits(self) -> Iterable[Misfit]:
        if not 1 <= self.bytes <= _MOST_BYTES:
            yield Misfit(f"a counter has 1 to {_MOST_BYTES} bytes, found {self.bytes}", path=("bytes",))
        if self.every.seconds < _FASTEST:
            yield Misfit("a counter changes every 20 ms at most", "for example: 1 s", ("every",))


class Filling(Protocol):
    """What stands in the data at the moment."""

    def fresh(self, size: int) -> bytes: ...

    def count(self, counter: CounterSpec) -> bytes: ...


class Zeros:
    """For what is only as long as it will be."""

    def fresh(self, size: int) -> bytes:
        return bytes(size)

    def count(self, counter: CounterSpec) -> bytes:
        return bytes(counter.bytes)


class Filled:
    """Since its address was taken; `elapsed` are the seconds since the device was made."""

    def __init__(self, rng: random.Random) -> None:
        self._rng = rng
        self.elapsed = 0.0
        self.take_anew()

    def take_anew(self) -> None:
        """The address has changed."""
        self._seed = self._rng.randbytes(31)
        self._start = self._rng.getrandbits(8 * _MOST_BYTES)

    def fresh(self, size: int) -> bytes:
        return self._seed[:size]

    def count(self, counter: CounterSpec) -> bytes:
        risen = int(self.elapsed / counter.every.seconds + 1e-6)
        value = risen + (self._start if counter.anew else 0)
        return (value % (1 << 8 * counter.bytes)).to_bytes(counter.bytes, "little")
