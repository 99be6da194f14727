"""What reports show of a record, in the order of the plan: every step once, those of a repetition over all its rounds."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from benchrig.report import explain

if TYPE_CHECKING:
    from benchrig.record.events import PlannedNode, Reading, Samples, StepTally
    from benchrig.record.model import Execution, Record
    from benchrig.record.tally import Numbers
    from benchrig.values.judging import Judgement

NOT_JUDGED = "not judged"
# Who tolerates what Python asked for and let fail.
CALLER = "the caller"
_WORST_FIRST: tuple[explain.State, ...] = ("error", "cut off", "fail", "pass", "skip", "left out")


@dataclass(frozen=True)
class Once:
    """A step outside of any repetition, or a repetition itself. `tolerated` names the step whose limit allowed that it
    failed, if one did, or the CALLER."""

    step: Execution
    depth: int
    tolerated: str = ""

    @property
    def node(self) -> PlannedNode:
        return self.step.planned

    @property
    def state(self) -> explain.State:
        return explain.state(self.step)

    @property
    def is_composite(self) -> bool:
        return self.node.role != "step"


@dataclass
class ReadingOverRounds:
    """One reading of a step over the rounds; `judgement` is one of its rounds, for the limit itself."""

    name: str
    unit: str = ""
    passed: int = 0
    failed: int = 0
    not_judged: int = 0
    # whether a condition of the plan left its limit out
    left_out: bool = False
    judgement: Judgement | None = None
    count: int = 0
    # of the rounds on record
    last: Reading | None = None
    _numbers: Numbers = field(default_factory=lambda: _no_numbers())

    def add(self, reading: Reading) -> None:
        from benchrig.record.tally import as_samples

        self.count += 1
        self.unit, self.last = reading.unit or self.unit, reading
        if (samples := as_samples(reading)) is not None:
            self._numbers.add(samples)
        if (judgement := reading.judgement) is not None:
            self.passed += judgement.passed
            self.failed += not judgement.passed
            # the limit of a round that did not pass says what was asked there
            self.judgement = judgement if self.judgement is None or not judgement.passed else self.judgement

    def join(self, tally: StepTally) -> None:
        if (samples := tally.readings.get(self.name)) is not None:
            self._numbers.add(samples)
        self.count += tally.others.get(self.name, 0) + (samples.count if samples is not None else 0)
        self.unit = self.unit or tally.units.get(self.name, "")
        if (fates := tally.limits.get(self.name)) is not None:
            self.passed += fates.passed
            self.failed += fates.failed
            self.not_judged += fates.not_judged

    @property
    def samples(self) -> Samples | None:
        """Of numbers."""
        return self._numbers.samples if self._numbers.count else None


def _no_numbers() -> Numbers:
    from benchrig.record.tally import Numbers  # `run --help` loads this file, and has no use for msgspec

    return Numbers()


def verdict_over(reading: ReadingOverRounds) -> str:
    """'' where nothing was to be judged."""
    if reading.failed or reading.passed:
        return "fail" if reading.failed else "pass"
    return "left out" if reading.left_out else NOT_JUDGED * bool(reading.not_judged)


@dataclass
class OverRounds:
    """A step of a repetition in all its rounds: those on record are `executions`, the others are counted."""

    node: PlannedNode
    depth: int
    tolerated: str
    executions: list[Execution]
    verdicts: Counter[str]
    readings: dict[str, ReadingOverRounds]
    retried: int
    seconds: float

    @property
    def times(self) -> int:
        return sum(self.verdicts.values())

    @property
    def bad(self) -> int:
        """How often it did not pass, but for rounds in which it was left out."""
        return self.verdicts["fail"] + self.verdicts["error"]

    @property
    def state(self) -> explain.State:
        """What it came to: a round in which it was skipped says nothing where it ran in others."""
        states = [*self.verdicts, *(explain.state(each) for each in self.executions if each.ended is None)]
        return next((state for state in _WORST_FIRST if state in states), "not run")

    @property
    def failed(self) -> list[Execution]:
        """The rounds of these that are on record."""
        return [each for each in self.executions if each.ended and each.ended.verdict in ("fail", "error")]

    @property
    def is_composite(self) -> bool:
        return self.node.role != "step"


Entry: TypeAlias = Once | OverRounds


def outline(record: Record) -> list[Entry]:
    return [entry for step in record.nodes for entry in _entries(step, 0, tolerated="")]


def allowed_by(tolerated: str) -> str:
    """Who allows what failed."""
    return tolerated if tolerated == CALLER else f"a limit of step {tolerated}"


def once(record: Record) -> list[Execution]:
    """The steps outside of repetitions, and these themselves."""
    return [entry.step for entry in outline(record) if isinstance(entry, Once)]


def over_rounds(record: Record) -> list[OverRounds]:
    return [entry for entry in outline(record) if isinstance(entry, OverRounds)]


def _entries(step: Execution, depth: int, *, tolerated: str) -> Iterator[Entry]:
    tolerated = CALLER if step.planned.excused else tolerated
    yield Once(step, depth, tolerated)
    inner = step.where.label if _tolerates(step) else tolerated  # the nearest one around it decides
    if step.planned.role == "repeat":
        yield from _in_rounds(step, depth + 1, tolerated=inner)
    else:
        for child in step.children:
            yield from _entries(child, depth + 1, tolerated=inner)


def _tolerates(step: Execution) -> bool:
    """Whether what failed in it is none of the whole: its limit about that held."""
    return step.planned.tolerates and step.ended is not None and step.ended.verdict == "pass"


def _in_rounds(repeat: Execution, depth: int, *, tolerated: str) -> Iterator[OverRounds]:
    inner = [each for each in repeat.all() if each is not repeat]
    tallies = [tally for each in (repeat, *inner) if each.left for tally in each.left.steps]
    yield from _of_nodes(repeat.planned.children, inner, tallies, depth, tolerated=tolerated)


def _of_nodes(
    nodes: Sequence[PlannedNode],
    inner: Sequence[Execution],
    tallies: Sequence[StepTally],
    depth: int,
    *,
    tolerated: str,
) -> Iterator[OverRounds]:
    for node in nodes:
        entry = _over(node, inner, tallies, depth, tolerated=tolerated)
        yield entry
        allows = node.id if node.tolerates and not entry.bad else tolerated
        yield from _of_nodes(node.children, inner, tallies, depth + 1, tolerated=allows)


def _over(
    node: PlannedNode, inner: Sequence[Execution], tallies: Sequence[StepTally], depth: int, *, tolerated: str
) -> OverRounds:
    executions = [each for each in inner if each.where.node == node.id]
    counted = [tally for tally in tallies if tally.node == node.id]
    verdicts: Counter[str] = Counter(each.ended.came_to for each in executions if each.ended)
    readings: dict[str, ReadingOverRounds] = {}
    for execution in executions:
        for reading in execution.readings:
            readings.setdefault(reading.name, ReadingOverRounds(reading.name)).add(reading)
        for limit in execution.not_judged:
            over = readings.setdefault(limit.name, ReadingOverRounds(limit.name))
            over.not_judged += 1
            over.left_out = over.left_out or (limit.allowed and not limit.unmeasured)
    for tally in counted:
        verdicts.update(tally.verdicts)
        for name in (*tally.readings, *tally.others, *tally.limits):
            readings.setdefault(name, ReadingOverRounds(name))
    for told in readings.values():
        for tally in counted:
            told.join(tally)
    retried = sum(len(each.retries) for each in executions) + sum(tally.retried for tally in counted)
    seconds = sum(each.ended.elapsed for each in executions if each.ended) + sum(tally.elapsed for tally in counted)
    return OverRounds(node, depth, tolerated, executions, verdicts, readings, retried, seconds)
