"""The line that shows where a run is, on a terminal only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from benchrig.record.events import AnyEvent, AttemptFailed, Closed, Opened, PlannedNode, RunStarted
from benchrig.terminal.waiting import StatusLine
from benchrig.text.durations import seconds_text

_LONGEST = 1000
# Of a step that fails in round after round, so many failures are told.
_TOLD = 5


class Progress(StatusLine):
    """Follows the events of a run."""

    def __init__(self) -> None:
        super().__init__(_LONGEST)
        self._names: dict[str, str] = {}
        self._count = 0
        # which of the steps that are counted, by id
        self._numbers: dict[str, int] = {}
        self._rounds: dict[str, Rounds] = {}
        self._chains: dict[str, tuple[str, ...]] = {}
        self._failed: Counter[str] = Counter()
        self._words = ""

    def __call__(self, event: AnyEvent) -> None:
        if isinstance(event, RunStarted):
            self._begin(event)
        elif isinstance(event, Opened):
            self._opened(event)
        elif isinstance(event, AttemptFailed):
            self.show(f"{self._words}, attempt {event.where.attempt + 1}")
        elif isinstance(event, Closed) and event.verdict in ("fail", "error") and event.root is None:
            self._did_not_pass(event)

    def _begin(self, run: RunStarted) -> None:
        steps = [*_with_repetitions(run.nodes)]
        self._numbers = {id: number for number, id in enumerate((node.id for node, _ in steps if node.counts), 1)}
        self._count = len(self._numbers)
        for node, around in steps:
            self._names[node.id], self._chains[node.id] = node.name, around
            if node.role == "repeat":
                self._rounds[node.id] = Rounds(node)

    def _opened(self, event: Opened) -> None:
        where = event.where
        if where.node in self._rounds:
            self._rounds[where.node].began = event.at
        name = self._names[where.node] = event.name or self._names.get(where.node, "")
        rounds = [self._rounds[repeat].words(where.rounds[level], event.at, left=not level)
                  for level, repeat in enumerate(self._chains.get(where.node, ()))]  # fmt: skip
        self._words = ", ".join([f"step {self._which(where.node)}: {name}", *rounds])
        self.show(self._words)

    def _which(self, node: str) -> str:
        """'4 of 12', '3.1 (5 of 12)'."""
        number = self._numbers.get(node)
        if number is None:
            return node
        return f"{node} of {self._count}" if node == str(number) else f"{node} ({number} of {self._count})"

    def _did_not_pass(self, event: Closed) -> None:
        """Of very many failures the first ones are told."""
        where = event.where
        self._failed[where.node] += 1
        if self._failed[where.node] <= _TOLD:
            more = (
                "; more failures of it are in the report" if self._failed[where.node] == _TOLD and where.rounds else ""
            )
            self.hide()
            self.console.print(
                f"step {where.label} {self._names.get(where.node, '')}: {event.verdict}{more}", markup=False
            )


class Rounds:
    """How far a repetition is."""

    def __init__(self, node: PlannedNode) -> None:
        self._count, self._seconds = node.rounds, node.seconds
        self.began = self._round_began = 0.0
        self._number = 0

    def words(self, number: int, at: float, *, left: bool) -> str:
        """'round 12 of 50, 3 min left'."""
        if number != self._number:
            self._number, self._round_began = number, at
        of = f" of {self._count}" if self._count else ""
        seconds = self._left(at) if left else None
        return f"round {number}{of}" + (f", {seconds_text(seconds)} left" if seconds is not None else "")

    def _left(self, at: float) -> float | None:
        """By the rounds that are over; None before the first one is, and where it may end at any time."""
        if self._seconds:
            return max(0.0, self._seconds - (at - self.began))
        if not self._count or self._number < 2:
            return None
        mean = (self._round_began - self.began) / (self._number - 1)
        return max(0.0, mean * (self._count - self._number + 1) - (at - self._round_began))


def _with_repetitions(
    nodes: Iterable[PlannedNode], around: tuple[str, ...] = ()
) -> Iterator[tuple[PlannedNode, tuple[str, ...]]]:
    """All steps, each with the repetitions around it, outermost first."""
    for node in nodes:
        yield node, around
        yield from _with_repetitions(node.children, (*around, node.id) if node.role == "repeat" else around)
