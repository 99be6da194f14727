"""The addresses that one device had, one after the other: which of those that were heard were its own.

A device has one address at a time. What an identity key or a bond proves is its own. Under an address that nothing proves it
can only be where it is not heard under another one, and only if no other device can be meant.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from benchrig.errors import AmbiguousDevice

# Reports with no longer a gap between them are kept as one run.
_ONE_RUN = 0.25
# So many advertising intervals without a report, and so many seconds at least, are no accident of the air.
MISSED, LEAST = 10, 1.0
# A system that hides repeated reports tells of a device once in a while.
LEAST_HIDDEN = 10.0


@dataclass
class Track:
    """Where one address was heard. `is_proven`: it is the device's own without a doubt; `rotates`: addresses of its kind do
    not stay."""

    address: str
    runs: list[list[float]] = field(default_factory=list)
    is_proven: bool = False
    rotates: bool = True

    def hear(self, at: float) -> None:
        if self.runs and at - self.runs[-1][1] <= _ONE_RUN:
            self.runs[-1][1] = max(at, self.runs[-1][1])
        else:
            self.runs.append([at, at])


T = TypeVar("T", bound=Track)


@dataclass(frozen=True)
class Stay(Generic[T]):
    """An address on the air, from its first report to its last one."""

    track: T
    first: float
    last: float

    def overlaps(self, other: Stay[T], by: float) -> bool:
        return min(self.last, other.last) - max(self.first, other.first) > by


@dataclass(frozen=True)
class Trail(Generic[T]):
    """The addresses of one device while it was listened to: `turns` are they in the order of time, `holes` when it was not heard (from, to), `beside` what
    fits the selection and is another device, `is_proven` whether every address is proven."""

    turns: list[Stay[T]]
    holes: list[tuple[float, float]]
    beside: list[T]

    @property
    def is_proven(self) -> bool:
        return all(turn.track.is_proven for turn in self.turns)

    @property
    def tracks(self) -> list[T]:
        """Each address once."""
        return list({id(turn.track): turn.track for turn in self.turns}.values())

    def lasted(self, begin: float) -> list[float]:
        """How long each address lasted, in seconds. Of the first and the last one nobody knows when they began or end: the
        longer of the two counts where it lasted longer than any other, since it has lasted at least so long."""
        last = self.turns[-1].last
        starts = [begin, *(turn.first for turn in self.turns[1:])]
        lasted = [after - before for before, after in itertools.pairwise([*starts, last])]
        whole, open_ = lasted[1:-1], max(lasted[0], lasted[-1])
        return whole + [open_] * (open_ > max(whole, default=0.0))


def trail_of(tracks: Iterable[T], begin: float, end: float, patience: float, blur: float) -> Trail[T]:
    """The trail from `begin` to `end`. Of a device on the air no gap is longer than `patience`, and two addresses of one do
    not overlap by more than `blur` (seconds). AmbiguousDevice where an address may be its own, or another device's."""
    heard = [*tracks]
    stays = [stay for track in heard for stay in _stays(track, patience)]
    own = [stay for stay in stays if stay.track.is_proven]
    holes = _holes(own, begin, end, patience)
    rest = [stay for stay in stays if not stay.track.is_proven]
    beside = [stay for stay in rest if any(stay.overlaps(each, blur) for each in own)]
    maybe = [
        stay for stay in rest if stay not in beside and any(low - blur <= stay.first < high for low, high in holes)
    ]
    maybe = [stay for stay in maybe if all(stay.track is not other.track for other in beside)]
    if maybe:
        _check_alone(maybe, beside, end - patience, blur)
        own = own + maybe
        holes = _holes(own, begin, end, patience)
    kept = {id(stay.track) for stay in own}
    return Trail(_turns(own), holes, [track for track in heard if id(track) not in kept])


def _stays(track: T, patience: float) -> list[Stay[T]]:
    """Its runs, those that belong together as one."""
    found: list[Stay[T]] = []
    for first, last in track.runs:
        if found and first - found[-1].last <= patience:
            found[-1] = Stay(track, found[-1].first, last)
        else:
            found.append(Stay(track, first, last))
    return found


def _check_alone(maybe: list[Stay[T]], beside: list[Stay[T]], until: float, blur: float) -> None:
    """See that what is in the holes is one device, and none that was heard beside the device and has changed its address."""
    crowd = [one for one, other in itertools.permutations(maybe, 2) if one.overlaps(other, blur)]
    moved = [stay for stay in beside if stay.track.rotates and stay.last < until]
    if crowd or moved:
        names = ", ".join(dict.fromkeys(stay.track.address for stay in [*moved, *maybe]))
        raise AmbiguousDevice(
            f"ambiguous: the addresses {names} match the selection, and nothing says which of them are the unit's",
            advice="switch the others off, or narrow device: select:",
        )


def _holes(stays: Sequence[Stay[T]], begin: float, end: float, patience: float) -> list[tuple[float, float]]:
    found, reached = [], begin
    for stay in sorted(stays, key=lambda each: each.first):
        if stay.first - reached > patience:
            found.append((reached, stay.first))
        reached = max(reached, stay.last)
    return found + ([(reached, end)] if end - reached > patience else [])


def _turns(stays: Sequence[Stay[T]]) -> list[Stay[T]]:
    """By their runs, which tell an address that comes back while another one is on from one that stays."""
    runs = [
        Stay(track, run[0], run[1]) for track in {id(s.track): s.track for s in stays}.values() for run in track.runs
    ]
    within = [run for run in runs if any(s.track is run.track and s.first <= run.first <= s.last for s in stays)]
    turns: list[Stay[T]] = []
    for run in sorted(within, key=lambda each: each.first):
        if turns and turns[-1].track is run.track:
            turns[-1] = Stay(run.track, turns[-1].first, run.last)
        else:
            turns.append(run)
    return turns
