"""Long repetitions: what stays on record, and that the rest is counted."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

import pytest
from msgspec.structs import replace

from benchrig.record.aggregate import build_record
from benchrig.record.events import (
    AnyEvent,
    AttemptFailed,
    Closed,
    DeviceSeen,
    Fates,
    Kept,
    NotJudged,
    Opened,
    PlannedNode,
    Reading,
    RoundsLeft,
    RunStarted,
    Samples,
    Where,
)
from benchrig.record.journal import Journal, read_record
from benchrig.record.model import Record
from benchrig.record.rounds import FAILED, FIRST, LAST, RoundLog, chains_of, thinned
from benchrig.record.tally import Numbers, Tally, as_samples
from benchrig.values.judging import Judgement
from tests.record.examples import run_started

READ = PlannedNode("1.1", "read level", "read", "a.yaml:2", limits=["value", "rssi"])
INNER = PlannedNode("1.2.1", "write", "write", "a.yaml:4")
PLAN = PlannedNode(
    "1", "soak", "repeat", "a.yaml:1", role="repeat",
    children=[READ, PlannedNode("1.2", "again", "repeat", "a.yaml:3", role="repeat", children=[INNER])],
)  # fmt: skip
CHAINS = chains_of([PLAN])


class Soak:
    """Makes the events of a run, as a runner would."""

    def __init__(self, seed: int = 1) -> None:
        self.chance = random.Random(seed)
        self.at = 0.0

    def now(self) -> float:
        self.at = round(self.at + 0.01, 6)
        return self.at

    def step(self, where: Where, *, fails: bool) -> list[AnyEvent]:
        good = Judgement(not fails, "max 9", "…")
        attempts = [AttemptFailed(where, self.now(), "link", "lost")] if self.chance.random() < 0.1 else []
        last = Where(where.node, where.rounds, 1 + len(attempts))
        value = self.chance.choice([self.chance.randint(-5, 5), self.chance.random() * 1e3, "not known", True])
        return [
            Opened(where, self.now()), *attempts, DeviceSeen(self.now(), f"C0:{self.chance.randint(0, 9)}", where=where),
            Reading(last, self.now(), "value", value, "s", judgement=good),
            Reading(last, self.now(), "stream", 1.5, "s", samples=Samples(3, 1.0, 2.0, 1.5, 0.5)),
            NotJudged(where, self.now(), "rssi", "no radio tells it", unmeasured=True, allowed=True),
            Closed(where, self.now(), 0.02, "fail" if fails else "pass", "limit" if fails else None),
        ]  # fmt: skip

    def inner(self, number: int, count: int) -> list[AnyEvent]:
        rounds = [
            event for each in range(1, count + 1) for event in self.step(Where("1.2.1", (number, each)), fails=False)
        ]
        return [
            Opened(Where("1.2", (number,)), self.now()),
            *rounds,
            Closed(Where("1.2", (number,)), self.now(), 1.0, "pass"),
        ]

    def round(self, number: int, *, fails: bool, inner: int) -> list[AnyEvent]:
        state = Reading(Where("1"), self.now(), "1.1.value", 3, samples=Samples(number), partial=True)
        return [*self.step(Where("1.1", (number,)), fails=fails), *self.inner(number, inner), state]

    def run(self, rounds: int, *, failing: Iterable[int] = (), inner: int = 1) -> list[AnyEvent]:
        bad = {*failing}
        every = [e for n in range(1, rounds + 1) for e in self.round(n, fails=n in bad, inner=inner)]
        verdict = "fail" if bad else "pass"
        return [run_started(PLAN), Opened(Where("1"), self.now()), *every, Closed(Where("1"), self.now(), 9.0, verdict)]


def logged(events: Sequence[AnyEvent], least: int) -> list[AnyEvent]:
    """What a run keeps that thins as it goes."""
    log, kept = RoundLog(least), list[AnyEvent]()
    for event in events:
        kept.append(event)
        if log.is_due(event, len(kept)):
            kept = log.thinned(kept)
    return kept


def everything(events: Iterable[AnyEvent]) -> RoundsLeft:
    """All that the events count, of whatever rounds they are."""
    tally = Tally()
    for event in events:
        if not (isinstance(event, (Opened, Closed)) and event.where == Where("1")):
            tally.add(event)
    return tally.told(Where("1"))


def rounds_in(record: Record) -> list[int]:
    [soak] = record.nodes
    return sorted({child.where.rounds[0] for child in soak.children})


def test_first_last_and_failed_rounds_stay() -> None:
    record = build_record(logged(Soak().run(1000, failing=(200, 500, 999)), least=400))
    assert rounds_in(record) == [*range(1, FIRST + 1), 200, 500, *range(1001 - LAST, 1001)]
    left = record.nodes[0].left
    assert left is not None
    assert (left.rounds, left.failed) == (1000 - FIRST - LAST - 2, 0)
    [read] = [tally for tally in left.steps if tally.node == "1.1"]
    assert (read.verdicts, read.limits["value"]) == ({"pass": left.rounds}, Fates(left.rounds))
    assert read.limits["rssi"] == Fates(0, 0, left.rounds, left.rounds)


def test_of_very_many_failed_rounds_the_first_ones_stay() -> None:
    record = build_record(logged(Soak().run(1000, failing=range(100, 1001)), least=400))
    assert rounds_in(record) == [*range(1, FIRST + 1), *range(100, 100 + FAILED), *range(1001 - LAST, 1001)]
    left = record.nodes[0].left
    assert left is not None
    assert left.failed == 901 - FAILED - LAST


@pytest.mark.parametrize(("rounds", "inner", "seed"), [(30, 1, 1), (61, 2, 2), (150, 3, 3), (61, 12, 4)])
def test_nothing_is_lost_and_nothing_counted_twice(rounds: int, inner: int, seed: int) -> None:
    """Thinned at any moments, all at once or never: the same numbers, the same device."""
    chance = random.Random(seed)
    events = Soak(seed).run(rounds, failing=chance.sample(range(1, rounds + 1), rounds // 9), inner=inner)
    whole = everything(events)
    for least in (50, 400, 10**9):
        left = logged(events, least)
        same(everything(left), whole)
        assert build_record(left).devices == {"": build_record(events).devices[""]}
    assert len(logged(events, 50)) <= len(events)


def same(one: RoundsLeft, other: RoundsLeft) -> None:
    assert [tally.node for tally in sorted(one.steps, key=lambda t: t.node)] == sorted(t.node for t in other.steps)
    by_node = {tally.node: tally for tally in other.steps}
    for tally in one.steps:
        of = by_node[tally.node]
        assert (tally.verdicts, tally.limits, tally.others, tally.units, tally.retried) == (
            of.verdicts, of.limits, of.others, of.units, of.retried,
        )  # fmt: skip
        for name, samples in tally.readings.items():
            assert (samples.count, samples.minimum, samples.maximum, samples.outside) == (
                of.readings[name].count, of.readings[name].minimum, of.readings[name].maximum, of.readings[name].outside,
            )  # fmt: skip
            assert samples.mean == pytest.approx(of.readings[name].mean, rel=1e-12)
            assert tally.elapsed == pytest.approx(of.elapsed)
            assert samples.sd == pytest.approx(of.readings[name].sd, rel=1e-9)


def test_streams_and_single_values_add_up() -> None:
    values = [float(value) for value in range(20)]
    one, two = Numbers(), Numbers()
    for value in values:
        samples = as_samples(Reading(Where("1"), 0.0, "value", value))
        assert samples is not None
        one.add(samples)
    mean = sum(values[5:]) / 15
    sd = (sum((value - mean) ** 2 for value in values[5:]) / 14) ** 0.5
    for value in values[:5]:
        two.add(Samples(1, value, value, value))
    two.add(Samples(15, 5.0, 19.0, mean, sd))
    assert (two.samples.count, two.samples.mean) == (20, pytest.approx(one.samples.mean))
    assert two.samples.sd == pytest.approx(one.samples.sd)


def test_a_run_that_is_cut_anywhere_is_read(tmp_path: Path) -> None:
    """The file is thinned as the memory is, and what a death leaves of it is a record."""
    events = Soak().run(90, failing=[80], inner=2)
    log, kept = RoundLog(200), list[AnyEvent]()
    with Journal(tmp_path / "record.jsonl") as journal:
        for number, event in enumerate(events):
            kept.append(event)
            journal.write(event)
            if log.is_due(event, len(kept)):
                kept = log.thinned(kept)
                journal.rewrite(kept)
            if number % 97 == 0 or event is events[-1]:
                same(everything(told(read_record(journal.path))), everything(events[: number + 1]))
    assert {path.name for path in tmp_path.iterdir()} == {"record.jsonl"}
    assert len(kept) < len(events)


def told(record: Record) -> list[AnyEvent]:
    """What counts in a record."""
    found: list[AnyEvent] = []
    waiting = [*record.nodes]
    while waiting:
        node = waiting.pop()
        waiting += node.children
        found += [r for attempt in node.attempts for r in attempt.readings if node.ended and not attempt.failed]
        found += [*node.retries, *node.not_judged, *filter(None, [node.left])]
        found += [node.ended] if node.ended and node.where != Where("1") else []
    return sorted(found, key=lambda event: isinstance(event, Closed) - isinstance(event, AttemptFailed))


def test_what_is_not_repeated_stays_as_it_is() -> None:
    events = [event for event in Soak().run(FIRST) if not getattr(event, "partial", False)]
    assert logged(events, least=10) == events
    start = events[0]
    assert isinstance(start, RunStarted)
    assert Counter(map(type, thinned(events[1:], CHAINS))) == Counter(map(type, events[1:]))


def test_samples_of_rounds_have_a_bounded_room() -> None:
    """Those of failed rounds stay before others, the latest before earlier ones, and what goes is counted."""
    most = 10_000
    events = []
    for event in Soak().run(60, failing=(3,)):
        if isinstance(event, Reading) and event.name == "value" and event.where.node == "1.1":
            event = replace(event, kept=Kept([1] * most, [0.5] * most, left_out=7))
        events.append(event)
    for left in (logged(events, least=10_000), logged(events, least=100)):
        kept = {each.where.rounds[0]: each.kept for each in left
                if isinstance(each, Reading) and each.kept is not None}  # fmt: skip
        assert len(kept) == 60
        assert [number for number, one in kept.items() if one.values] == [3, *range(52, 61)]
        assert {len(one.values) + one.left_out for one in kept.values()} == {most + 7}


def test_samples_are_thinned_while_a_repetition_goes_on() -> None:
    log, kept, most = RoundLog(10**9), list[AnyEvent](), 0
    for event in Soak().run(100):
        if isinstance(event, Reading) and event.name == "value" and event.where.node == "1.1":
            event = replace(event, kept=Kept([1] * 10_000, [0.5] * 10_000))
        kept.append(event)
        if log.is_due(event, len(kept)):
            kept = log.thinned(kept)
        most = max(most, sum(len(each.kept.values) for each in kept if isinstance(each, Reading) and each.kept))
    assert 100_000 <= most <= 220_000
