"""What the rounds that a record leaves out came to: every step, limit and number in them, counted."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass, field

from benchrig.record.events import (
    AnyEvent,
    AttemptFailed,
    Closed,
    Fates,
    NotJudged,
    Reading,
    RoundsLeft,
    Samples,
    StepTally,
    Where,
)


class Numbers:
    """Statistics of a reading, of single values and of streams together (Chan's formula)."""

    __slots__ = ("count", "m2", "maximum", "mean", "minimum", "outside")

    def __init__(self) -> None:
        self.count = self.outside = 0
        self.minimum, self.maximum = math.inf, -math.inf
        self.mean = self.m2 = 0.0

    def add(self, samples: Samples) -> None:
        """Samples that are numbers."""
        if samples.mean is None or samples.minimum is None or samples.maximum is None:
            return
        before, self.count = self.count, self.count + samples.count
        delta = samples.mean - self.mean
        self.mean += delta * (samples.count / self.count)
        inner = (samples.sd or 0.0) ** 2 * (samples.count - 1)
        self.m2 += inner + delta * delta * (before * (samples.count / self.count))
        self.minimum = min(self.minimum, samples.minimum)
        self.maximum = max(self.maximum, samples.maximum)
        self.outside += samples.outside

    @property
    def samples(self) -> Samples:
        sd = math.sqrt(self.m2 / (self.count - 1)) if self.count > 1 and math.isfinite(self.m2) else None
        return Samples(self.count, self.minimum, self.maximum, self.mean, sd, self.outside)


def as_samples(reading: Reading) -> Samples | None:
    """What a reading adds to the statistics of its name; None where it is no number."""
    if reading.samples is not None:
        return reading.samples if reading.samples.mean is not None else None
    value = reading.value
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return None
    broken = reading.judgement is not None and not reading.judgement.passed
    return Samples(1, value, value, value, None, int(broken))


@dataclass
class _Step:
    """Of one step of the plan."""

    verdicts: Counter[str] = field(default_factory=Counter)
    retried: int = 0
    elapsed: float = 0.0
    fates: defaultdict[str, Fates] = field(default_factory=lambda: defaultdict(Fates))
    numbers: defaultdict[str, Numbers] = field(default_factory=lambda: defaultdict(Numbers))
    units: dict[str, str] = field(default_factory=dict)
    others: Counter[str] = field(default_factory=Counter)

    def read(self, reading: Reading) -> None:
        if reading.judgement is not None:
            passed = int(reading.judgement.passed)
            self.fates[reading.name] += Fates(passed, 1 - passed)
        samples = as_samples(reading)
        if samples is None:
            self.others[reading.name] += 1
        else:
            self.numbers[reading.name].add(samples)
            self.units[reading.name] = reading.unit

    def join(self, tally: StepTally) -> None:
        self.verdicts.update(tally.verdicts)
        self.retried += tally.retried
        self.elapsed += tally.elapsed
        self.others.update(tally.others)
        self.units |= tally.units
        for name, fates in tally.limits.items():
            self.fates[name] += fates
        for name, samples in tally.readings.items():
            self.numbers[name].add(samples)

    def told(self, node: str) -> StepTally:
        readings = {name: numbers.samples for name, numbers in self.numbers.items()}
        return StepTally(
            node,
            dict(self.verdicts),
            dict(self.fates),
            readings,
            dict(self.units),
            dict(self.others),
            self.retried,
            round(self.elapsed, 6),
        )


class Tally:
    """Of one repetition: takes the events of the rounds that go."""

    def __init__(self) -> None:
        self.rounds = self.failed = 0
        self._at = 0.0
        self._steps: defaultdict[str, _Step] = defaultdict(_Step)
        # of the executions that are not over: of two readings of one name the last one counts, of attempts too
        self._readings: defaultdict[Where, dict[str, Reading]] = defaultdict(dict)

    def add(self, event: AnyEvent) -> None:
        match event:
            case Reading():
                self._readings[event.where.execution][event.name] = event
            case AttemptFailed():
                self._readings.pop(event.where.execution, None)
                self._steps[event.where.node].retried += 1
            case NotJudged():
                self._steps[event.where.node].fates[event.name] += Fates(0, 0, 1, int(event.allowed))
            case Closed():
                self._close(event)
            case RoundsLeft():
                self.join(event, inner=True)

    def join(self, earlier: RoundsLeft, *, inner: bool = False) -> None:
        """What was left out before; that of a repetition inside adds no round of this one."""
        self._at = max(self._at, earlier.at)
        self.rounds += 0 if inner else earlier.rounds
        self.failed += 0 if inner else earlier.failed
        for tally in earlier.steps:
            self._steps[tally.node].join(tally)

    def _close(self, event: Closed) -> None:
        self._at = max(self._at, event.at)
        step = self._steps[event.where.node]
        step.verdicts[event.came_to] += 1
        step.elapsed += event.elapsed
        for reading in self._readings.pop(event.where, {}).values():
            step.read(reading)

    def told(self, where: Where) -> RoundsLeft:
        steps = [step.told(node) for node, step in self._steps.items()]
        return RoundsLeft(where, self._at, self.rounds, self.failed, steps)
