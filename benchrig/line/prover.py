"""Which unit is in which slot, asked on the air: listen, decide, read a serial number, decide again."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field, replace
from typing import Protocol

from benchrig.errors import StationError
from benchrig.line.asking import Asking
from benchrig.line.deciding import decide
from benchrig.line.heard import HeardAround, Known, unaccounted
from benchrig.line.proof import Binding, Claim, Expected, Found, Outcome, Place, Proven, Told, binding
from benchrig.line.scene import Ask, Candidate, Scene, candidates
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Sighting
from benchrig.station.station import Station

# What was heard so long ago may have changed its address, or be another unit by now.
_STALE = 1.0


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
    """Of one line: it remembers which unit is in which slot until that is released, and what devices told."""

    station: Station
    radios: Radios
    # by slot: of every outcome that runs, as long as it does, and as long as its unit is in the slot
    _claims: dict[str, Claim] = field(default_factory=dict)
    _staying: dict[str, Claim] = field(default_factory=dict)
    # by slot the addresses that were heard and are not its unit
    _others: dict[str, frozenset[str]] = field(default_factory=dict)
    # by address: as the how manieth each was asked last and what it told, how many connections it did not take, and the serial
    # numbers of units that have left
    _told: dict[str, tuple[int, Told]] = field(default_factory=dict)
    _failed: dict[str, int] = field(default_factory=dict)
    _gone: dict[str, str] = field(default_factory=dict)
    # by slot what was heard around it since its unit was scanned, and all units that were proven: addresses, serial numbers
    _around: dict[str, HeardAround] = field(default_factory=dict)
    _proven: dict[str, str] = field(default_factory=dict)
    _asking: asyncio.Lock = field(default_factory=asyncio.Lock)
    asked: int = 0

    async def prove(self, slot: str, expected: Expected) -> Outcome:
        """Listen until the unit is proven, or for as long as the station allows for it to be put in. An outcome that runs is
        claimed for the slot. StationError where the slot's radio does not listen, or fails."""
        self.release(slot)
        place = Place.of(self.station, slot)
        if place.kind == "scan":
            self._around[slot] = HeardAround(place, expected, float(self.station.prove.margin.number))
        outcome, heard = await _Proving(self, place, expected).outcome()
        if isinstance(outcome, Proven):
            self._proven[outcome.address] = outcome.serial
        if isinstance(outcome, Found):
            outcome = replace(outcome, failed=self._failed.get(outcome.address, 0))
            self._claims[slot] = Claim(slot, outcome.address, outcome.serial)
        self._others[slot] = frozenset(
            each.address for each in heard if not (isinstance(outcome, Found) and each.address == outcome.address)
        )
        return outcome

    def binding(self, slot: str, outcome: Outcome, expected: Expected) -> Binding:
        """How the run in this slot is held to the unit."""
        claimed = {claim.address for claim in self.beside(slot)}
        return binding(outcome, expected, self._others.get(slot, frozenset()) | claimed)

    def ended(self, slot: str) -> None:
        """The run is over, and has let go of its unit, which is in the slot still: it may be asked again."""
        claim = self._claims.pop(slot, None)
        self._others.pop(slot, None)
        if claim is not None:
            self._failed.pop(claim.address, None)
            self._staying[slot] = claim

    def release(self, slot: str) -> None:
        """The unit has left the slot, or was never in it: another one may have its address."""
        self.ended(slot)
        self._around.pop(slot, None)
        claim = self._staying.pop(slot, None)
        if claim is not None:
            self._told.pop(claim.address, None)
            self._gone[claim.address] = claim.serial

    def beside(self, slot: str) -> list[Claim]:
        """The units that are in other slots."""
        return [claim for name, claim in self._claims.items() if name != slot]

    def unaccounted(self, slot: str, known: Known) -> tuple[str, ...]:
        """The addresses of units that were heard since the label of this slot's unit was scanned, and that may be in the slot
        in its place: they fit its plan, and nobody has scanned them. None where the air tells which unit is in the slot."""
        if slot not in self._around:
            return ()
        claims = [*self._claims.values(), *self._staying.values()]
        told = {address: each.serial for address, (_, each) in self._told.items()}
        scanned = {claim.address for claim in claims} | self._proven.keys()
        serials = {claim.serial for claim in claims} | {*self._proven.values()}
        return unaccounted(self._around[slot].found.values(), scanned, told, serials, known)

    # --- for a proving

    def heard(self, by_slot: Mapping[str, HeardInSlot]) -> None:
        """Whatever slot it was listened for."""
        by_radio = {each.radio: each.sightings for each in by_slot.values() if each.error is None}
        for slot, around in self._around.items():
            if slot in by_slot and by_slot[slot].error is None:
                around.hear(by_slot[slot].sightings, by_radio)

    def scene(
        self, expected: Expected, place: Place, heard: Sequence[Candidate], listened: frozenset[str], since: int
    ) -> Scene:
        """As things are now; answers count that came after so many."""
        return Scene(
            expected,
            place,
            heard,
            float(self.station.prove.margin.number),
            listened,
            self.beside(place.slot),
            [claim for name, claim in self._staying.items() if name != place.slot],
            {address: expected.says(told) for address, (at, told) in self._told.items() if at > since},
            {address: told.serial for address, (_, told) in self._told.items() if expected.says(told).serial},
            self._gone,
        )

    async def ask(self, slot: str, sighting: Sighting, since: int) -> None:
        """Read the serial number of what was heard, unless another slot has asked for it meanwhile. It has the link."""
        address = sighting.address.upper()
        async with self._asking:
            if address in self._told and self._told[address][0] > since:
                return
            told = await Asking(self.radios, slot, self.station.prove.within.seconds).ask(sighting)
            self.asked += 1
            self._told[address] = (self.asked, told)
            self._failed[address] = self._failed.get(address, 0) + (not told.connected)

    def forget_silence(self, since: int) -> None:
        """What could not be asked is asked once more."""
        for address, (at, told) in [*self._told.items()]:
            if at > since and not told.connected:
                del self._told[address]


class _Proving:
    """Of one unit in one slot, in rounds that get longer: a device that advertises seldom is to be heard several times."""

    def __init__(self, prover: Prover, place: Place, expected: Expected) -> None:
        self._prover, self._place, self._expected = prover, place, expected
        self._rules = prover.station.prove
        self._since = prover.asked
        self._deadline = asyncio.get_running_loop().time() + self._rules.listen.seconds + self._rules.within.seconds
        self._heard: Mapping[str, Sequence[Sighting]] = {}

    async def outcome(self) -> tuple[Outcome, Sequence[Candidate]]:
        """With all that was heard."""
        loop, seconds = asyncio.get_running_loop(), self._rules.listen.seconds
        while True:
            await self._listen(seconds)
            outcome = await self._decided()
            left = self._deadline - loop.time()
            if isinstance(outcome, Proven) or left <= 0:
                return outcome, self._candidates
            seconds = min(2 * seconds, max(left, self._rules.listen.seconds))
            self._prover.forget_silence(self._since)

    async def _listen(self, seconds: float) -> None:
        heard = await self._prover.radios.listen(seconds)
        error = heard[self._place.slot].error
        if error is not None:
            raise error
        self._prover.heard(heard)
        self._heard = {each.radio: each.sightings for each in heard.values() if each.error is None}

    async def _decided(self) -> Outcome:
        while True:
            answer = decide(self._scene)
            if not isinstance(answer, Ask):
                return answer
            await self._ask(answer)

    @property
    def _candidates(self) -> list[Candidate]:
        return candidates(self._heard, self._expected)

    @property
    def _scene(self) -> Scene:
        listened = frozenset(self._heard)
        return self._prover.scene(self._expected, self._place, self._candidates, listened, self._since)

    async def _ask(self, ask: Ask) -> None:
        """Over a place among the links of the radio, for which the unit may have to wait: that is no time of its own."""
        loop = asyncio.get_running_loop()
        slot = self._place.slot if ask.radio == self._place.radio else self._place.slots_on(ask.radio)[0]
        asked = loop.time()
        async with self._prover.radios.link(slot):
            waited = loop.time() - asked
            self._deadline += waited
            if waited > _STALE:
                await self._listen(self._rules.listen.seconds)
            sighting = _heard_as(self._heard.get(ask.radio, ()), ask.address)
            if sighting is not None:
                await self._prover.ask(slot, sighting, self._since)


def _heard_as(sightings: Iterable[Sighting], address: str) -> Sighting | None:
    """Of two of one address the louder one."""
    found = [each for each in sightings if each.address.upper() == address]
    return max(found, key=lambda each: each.strength, default=None)
