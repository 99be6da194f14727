"""What was heard around the units in slots that share a radio, while they were tested and since: a unit that is on the air and
that nobody has scanned may be the one that is in the slot."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from benchrig.line.proof import Expected, Place
from benchrig.line.scene import ENOUGH_REPORTS, Candidate, candidates
from benchrig.radio.scan import Sighting


@dataclass(frozen=True)
class Known:
    """The units that were judged before: the addresses of those that keep theirs, and the serial numbers of all."""

    addresses: AbstractSet[str] = frozenset()
    serials: AbstractSet[str] = frozenset()


@dataclass
class HeardAround:
    """One slot. `found` has all units by their addresses that may have been in it: they fit the plan, at its level where it
    wants one, and are not nearer to the radio of another slot by the `margin`."""

    place: Place
    expected: Expected
    margin: float
    found: dict[str, Candidate] = field(default_factory=dict)

    def hear(self, own: Iterable[Sighting], heard: Mapping[str, Iterable[Sighting]]) -> None:
        """What the slot's radio heard, with the levels of the slot, and what each radio heard."""
        accepts, own = self.expected.selection.accepts, [*own]
        fit = {sighting.address.upper() for sighting in own if accepts(sighting)}
        found = candidates({**heard, self.place.radio: own}, self.expected)
        self.found |= {each.address: each for each in found if each.address in fit and not self._is_away(each)}

    def _is_away(self, unit: Candidate) -> bool:
        here = unit.at(self.place.radio)
        return any(
            unit.at(radio) - here >= self.margin and unit.reports.get(radio, 0) >= ENOUGH_REPORTS
            for radio in self.place.radio_names
        )


def unaccounted(
    found: Iterable[Candidate],
    scanned: AbstractSet[str],
    told: Mapping[str, str],
    serials: AbstractSet[str],
    known: Known,
) -> tuple[str, ...]:
    """The addresses of units that nobody has scanned. `scanned` are the addresses of those that were proven under a label of
    their own or are known to be in another slot, `serials` their serial numbers, `told` what devices told, by address. An
    address that changes says nothing: such a unit counts where it told a serial number that nobody has."""
    left = [each for each in found if each.address not in scanned and each.address not in known.addresses]
    return tuple(
        sorted(
            each.address
            for each in left
            if not each.rotates or (told.get(each.address) and told[each.address] not in serials | known.serials)
        )
    )
