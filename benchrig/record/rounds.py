"""Long repetitions: which rounds stay on record whole, and what becomes of the others.

Whole stay the first rounds, the last ones, those that did not pass as far as there is room, and those that are not over.
The others are counted in a RoundsLeft. Of the samples that readings keep there is room for a bounded number. What is thinned can be thinned again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from msgspec.structs import replace

from benchrig.record.aggregate import merged
from benchrig.record.events import (
    Added,
    AnyEvent,
    Closed,
    DeviceSeen,
    Kept,
    Opened,
    PlannedNode,
    Reading,
    RoundsLeft,
    RunStarted,
    Where,
)
from benchrig.record.tally import Tally

# Of each repetition, and of one inside another for each round of that; of failed rounds in all of the run.
FIRST, FIRST_INSIDE = 50, 5
LAST, LAST_INSIDE = 10, 3
FAILED = 100
# Kept samples of all rounds together.
SAMPLES = 100_000

# The ids of the repetitions around each node, outermost first.
Chains: TypeAlias = Mapping[str, tuple[str, ...]]


def chains_of(nodes: Iterable[PlannedNode], around: tuple[str, ...] = ()) -> dict[str, tuple[str, ...]]:
    chains = {}
    for node in nodes:
        chains[node.id] = around
        chains |= chains_of(node.children, (*around, node.id) if node.role == "repeat" else around)
    return chains


def thinned(events: Sequence[AnyEvent], chains: Chains) -> list[AnyEvent]:
    """The events of a repetition, from its begin on, without those of rounds that need not stay."""
    return _Thinning(events, chains).events()


@dataclass
class _Repetition:
    """What the events say of one execution of a repetition."""

    level: int
    rounds: dict[int, bool] = field(default_factory=dict)  # by number, whether it did not pass
    over: bool = False
    gone: frozenset[int] = frozenset()

    def choose(self, room: int) -> int:
        """Say which rounds go; how many more failed ones could have stayed."""
        numbers = sorted(self.rounds)
        complete = numbers if self.over else numbers[:-1]
        first, last = (FIRST, LAST) if self.level == 1 else (FIRST_INSIDE, LAST_INSIDE)
        between = [number for number in complete[:-last] if number > first]
        failed = [number for number in between if self.rounds[number]]
        self.gone = frozenset(between) - frozenset(failed[:room])
        return room - len(failed[:room])


class _Thinning:
    def __init__(self, events: Sequence[AnyEvent], chains: Chains) -> None:
        self._events, self._chains = events, chains
        self._repetitions: dict[Where, _Repetition] = {}
        self._latest: dict[tuple[Where, str], int] = {}  # where the last reading of each name is
        for at, event in enumerate(events):
            self._look(at, event)
        self._choose()

    # --- what there is

    def _look(self, at: int, event: AnyEvent) -> None:
        if isinstance(event, Reading):
            self._latest[event.where, event.name] = at
        elif isinstance(event, Closed) and event.where in self._repetitions:
            self._repetitions[event.where].over = True
        if isinstance(event, (Opened, Closed)):
            bad = isinstance(event, Closed) and event.counts_as != "pass"
            for repetition, number in self._rounds_around(event.where):
                known = self._repetitions.setdefault(repetition, _Repetition(len(repetition.rounds) + 1))
                known.rounds[number] = known.rounds.get(number, False) or bad

    def _rounds_around(self, where: Where) -> Iterator[tuple[Where, int]]:
        """The rounds that an event stands in, outermost first."""
        for level, node in enumerate(self._chains.get(where.node, ())[: len(where.rounds)]):
            yield Where(node, where.rounds[:level]), where.rounds[level]

    def _choose(self) -> None:
        room: defaultdict[str, int] = defaultdict(lambda: FAILED)
        for where, repetition in sorted(self._repetitions.items(), key=lambda item: item[1].level):
            if self._gone(where) is None:
                room[where.node] = repetition.choose(room[where.node])

    def _gone(self, where: Where) -> Where | None:
        """The outermost repetition of which a round goes that this is in."""
        around = self._rounds_around(where)
        return next((each for each, number in around if number in self._repetitions[each].gone), None)

    # --- what stays

    def events(self) -> list[AnyEvent]:
        stays: list[AnyEvent | Where] = []
        tallies: defaultdict[Where, Tally] = defaultdict(Tally)
        devices = _Devices()
        for at, event in enumerate(self._events):
            where = getattr(event, "where", None)
            repetition = self._gone(where) if where is not None else None
            if isinstance(event, DeviceSeen):
                devices.see(event, stays, goes=repetition is not None or where is None)
            elif repetition is not None or (isinstance(event, RoundsLeft) and (repetition := event.where)):
                if repetition not in tallies:
                    stays.append(repetition)  # the place of what is said of it
                self._count(tallies[repetition], repetition, event)
            elif not self._is_outdated(at, event):
                stays.append(event)
        for where, tally in tallies.items():
            gone = self._repetitions[where].gone if where in self._repetitions else frozenset()
            tally.rounds += len(gone)
            tally.failed += sum(self._repetitions[where].rounds[number] for number in gone)
        left = [tallies[each].told(each) if isinstance(each, Where) else each for each in devices.in_place(stays)]
        return _with_room(left)

    @staticmethod
    def _count(tally: Tally, repetition: Where, event: AnyEvent) -> None:
        if isinstance(event, RoundsLeft) and event.where == repetition:
            tally.join(event)
        else:
            tally.add(event)

    def _is_outdated(self, at: int, event: AnyEvent) -> bool:
        """What a stream said of itself before it said more."""
        if not isinstance(event, Reading) or not event.partial:
            return False
        return self._latest[event.where, event.name] != at


def _kept(event: AnyEvent) -> int:
    """How many samples an event of a round keeps."""
    return len(event.kept.values) if isinstance(event, Reading) and event.kept and event.where.rounds else 0


def _with_room(events: list[AnyEvent]) -> list[AnyEvent]:
    """The events with as many samples of rounds as there is room for: first those that broke their limit, then the latest."""
    if sum(map(_kept, events)) <= SAMPLES:
        return events
    left, room = [*events], SAMPLES
    for at in sorted(
        filter(lambda at: _kept(events[at]), range(len(events))), key=lambda at: (_passed(events[at]), -at)
    ):
        if (count := _kept(events[at])) <= room:
            room -= count
        else:
            left[at] = _emptied(events[at])
    return left


def _passed(event: AnyEvent) -> bool:
    return not isinstance(event, Reading) or event.judgement is None or event.judgement.passed


def _emptied(event: AnyEvent) -> AnyEvent:
    """A reading without its samples."""
    assert isinstance(event, Reading)
    kept = event.kept
    assert kept is not None
    return replace(event, kept=Kept(every=kept.every, left_out=kept.left_out + len(kept.values)))


class _Devices:
    """What is known of each device, as it was told in rounds that go: one event takes the place of many."""

    def __init__(self) -> None:
        self._known: dict[str, DeviceSeen] = {}
        self._swapped: set[str] = set()
        self._places: dict[str, int] = {}
        self._told: dict[str, DeviceSeen] = {}

    def see(self, event: DeviceSeen, stays: list[AnyEvent | Where], *, goes: bool) -> None:
        key = event.device
        self._known[key] = merged(None if event.swapped else self._known.get(key), event)
        if not goes:
            stays.append(event)
            return
        self._swapped |= {key} if event.swapped else set()
        self._told[key] = replace(self._known[key], at=event.at, where=None, swapped=key in self._swapped)
        self._places[key] = len(stays)

    def in_place(self, stays: list[AnyEvent | Where]) -> list[AnyEvent | Where]:
        whole = [*stays]
        for key, place in sorted(self._places.items(), key=lambda item: item[1], reverse=True):
            whole.insert(place, self._told[key])
        return whole


class RoundLog:
    """Thins the events that a run has left so far, when a repetition has added as many as there were before, and when it is
    over: what that costs stays in proportion to the run."""

    def __init__(self, least: int = 5000) -> None:
        self._chains: dict[str, tuple[str, ...]] = {}
        self._repeats: set[str] = set()
        self._least = least
        self._at_work: Where | None = None  # the outermost repetition
        self._begin = self._due = self._samples = 0

    def is_due(self, event: AnyEvent, count: int) -> bool:
        """The event is the last of so many: whether they are to be thinned now."""
        if isinstance(event, (RunStarted, Added)):
            self._know(event.nodes if isinstance(event, RunStarted) else [event.node])
        elif self._at_work is None:
            if isinstance(event, Opened) and event.where.node in self._repeats:
                self._at_work, self._begin, self._due = event.where, count - 1, count + self._least
            return False
        elif isinstance(event, Closed) and event.where == self._at_work:
            self._at_work = None
            return True
        self._samples += _kept(event)
        return self._at_work is not None and (count >= self._due or self._samples > 2 * SAMPLES)

    def _know(self, nodes: Iterable[PlannedNode]) -> None:
        chains = chains_of(nodes)
        self._chains |= chains
        self._repeats |= {node for chain in chains.values() for node in chain}

    def thinned(self, events: Sequence[AnyEvent]) -> list[AnyEvent]:
        left = [*events[: self._begin], *thinned(events[self._begin :], self._chains)]
        self._due = len(left) + max(self._least, len(left))
        self._samples = sum(map(_kept, left))
        return left
