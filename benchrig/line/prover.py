"""Which unit is in which slot, asked on the air: listen, decide, read a serial number, decide again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field
from typing import Protocol

from benchrig.errors import StationError
from benchrig.line.proof import Binding, Claim, Expected, NotProven, Outcome, binding
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Sighting
from benchrig.station.station import Station


class HeardInSlot(Protocol):
    """What a slot's radio heard, or why it heard nothing."""

    @property
    def radio(self) -> str: ...

    @property
    def sightings(self) -> Sequence[Sighting]: ...

    @property
    def error(self) -> StationError | None: ...


class Radios(Protocol):
    """Those of a station, as far as a proof needs them."""

    async def lend(self, slot: str, *, without: frozenset[str] = frozenset()) -> Radio: ...

    def link(self, slot: str) -> AbstractAsyncContextManager[None]: ...

    def connecting(self, slot: str) -> AbstractAsyncContextManager[None]: ...

    async def listen(self, seconds: float, slots: Iterable[str] | None = None) -> Mapping[str, HeardInSlot]: ...


@dataclass
class Prover:
    """Of one line: it remembers which unit is in which slot until that is released."""

    station: Station
    radios: Radios
    _claims: dict[str, Claim] = field(default_factory=dict)

    async def prove(self, slot: str, expected: Expected) -> Outcome:
        """Listen for as long as the station allows for a unit to be put in. An outcome that runs is claimed for the slot.
        StationError for a radio that does not listen."""
        return NotProven("nothing was listened for yet")

    def binding(self, slot: str, outcome: Outcome, expected: Expected) -> Binding:
        """How the run in this slot is held to the unit."""
        return binding(outcome, expected, frozenset())

    def release(self, slot: str) -> None:
        """The unit has left the slot, or was never in it."""
        self._claims.pop(slot, None)
