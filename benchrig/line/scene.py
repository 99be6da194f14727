"""What is known of the devices around a slot when it is decided which one is in it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from benchrig.line.proof import Claim, Expected, Place, Told, stays
from benchrig.radio.identity import is_private
from benchrig.radio.scan import Selection, Sighting

# The level of fewer reports than these says nothing: one may have met a fade, or a reflection.
ENOUGH_REPORTS = 3


@dataclass(frozen=True)
class Ask:
    """Read the serial number of this device, over this radio; then decide again."""

    address: str
    radio: str


@dataclass(frozen=True)
class Candidate:
    """A device that may be the unit. `levels` are medians in dBm by radio, `reports` how many they are of. `stays`: it keeps
    its address, and that is known; `rotates`: it changes it. `at_level`: the plan wants a level, and it has that."""

    address: str
    stays: bool = True
    rotates: bool = False
    levels: Mapping[str, float] = field(default_factory=dict)
    reports: Mapping[str, int] = field(default_factory=dict)
    connectable: bool = True
    at_level: bool = False

    def at(self, radio: str) -> float:
        return self.levels.get(radio, -math.inf)

    @property
    def loudest(self) -> str:
        """The radio that hears it best."""
        return max(self.levels, key=lambda radio: (self.levels[radio], radio))

    def __str__(self) -> str:
        return f"{self.address} ({', '.join(f'{level:g} dBm' for level in self.levels.values())})"


@dataclass(frozen=True)
class Scene:
    """All that is known when it is decided. `heard` has the units that fit the plan, and the one with the address of the
    barcode; `listened` are the radios that did; `told` the answers of this proving, `hints` earlier ones, by address; `staying`
    are units in other slots whose test is over, `gone` the serial numbers of units that have left, by address."""

    expected: Expected
    place: Place
    heard: Sequence[Candidate]
    margin: float
    listened: frozenset[str]
    claims: Sequence[Claim] = ()
    staying: Sequence[Claim] = ()
    told: Mapping[str, Told] = field(default_factory=dict)
    hints: Mapping[str, str] = field(default_factory=dict)
    gone: Mapping[str, str] = field(default_factory=dict)


def candidates(heard: Mapping[str, Iterable[Sighting]], expected: Expected) -> list[Candidate]:
    """Of what each radio heard: the devices that fit the plan at any level, and the one with the address of the barcode. A
    plan that wants a level judges it."""
    found: dict[str, list[tuple[str, Sighting]]] = {}
    for radio, sightings in heard.items():
        for sighting in sightings:
            found.setdefault(sighting.address.upper(), []).append((radio, sighting))
    fits = expected.selection.at_any_level.accepts
    return [
        _candidate(address, at, expected.selection)
        for address, at in found.items()
        if address == expected.address or any(fits(sighting) for _, sighting in at)
    ]


def _candidate(address: str, at: Sequence[tuple[str, Sighting]], selection: Selection) -> Candidate:
    return Candidate(
        address,
        all(stays(sighting) for _, sighting in at),
        any(is_private(sighting) for _, sighting in at),
        {radio: sighting.strength for radio, sighting in at},
        {radio: len(sighting.rssi) for radio, sighting in at},
        not all(sighting.takes_no_connections for _, sighting in at),
        selection.rssi_min is not None and any(selection.accepts(sighting) for _, sighting in at),
    )
