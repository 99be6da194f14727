"""What the record of one run says of the limits of its plan: of each how near the unit was to it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import msgspec

from benchrig.record.events import Reading
from benchrig.record.model import Execution, Record
from benchrig.values.quantity import as_float


class Seen(msgspec.Struct, frozen=True, array_like=True):
    """A limit in one run, over all rounds: the worst distance to each bound, negative outside, and the bounds, in the unit
    of the reading. Under a guard band the distances are to the acceptance limits, the bounds those of the plan. None where there is no such bound, or no number."""

    node: str
    reading: str
    passed: bool
    unit: str = ""
    below: float | None = None  # distance to the lower bound
    above: float | None = None  # to the upper one
    low: float | None = None
    high: float | None = None


def limits_seen(record: Record) -> list[Seen]:
    """Each judged limit once, in the order of the run."""
    found: dict[tuple[str, str], Seen] = {}
    for each in _all(record.nodes):
        key = each.node, each.reading
        found[key] = _worse(found[key], each) if key in found else each
    return [*found.values()]


def times_of(record: Record) -> dict[str, float]:
    """Seconds of each step that holds no other ones, over all its rounds."""
    times: dict[str, float] = {}
    for step in record.steps:
        if step.ended is not None:
            node = step.where.node
            times[node] = times.get(node, 0.0) + step.ended.elapsed
    return times


def _all(executions: Iterable[Execution]) -> Iterator[Seen]:
    for each in executions:
        yield from (_seen(each.where.node, one) for one in each.readings if one.judgement)
        yield from _all(each.children)


def _seen(node: str, reading: Reading) -> Seen:
    judgement = reading.judgement
    assert judgement is not None
    least, most = _ends(reading)
    low, high = as_float(judgement.low), as_float(judgement.high)
    below = least - low if least is not None and low is not None else None
    above = high - most if most is not None and high is not None else None
    return Seen(node, reading.name, judgement.passed, reading.unit, below, above, *judgement.stated)


def _ends(reading: Reading) -> tuple[float | None, float | None]:
    """The smallest and the largest number of it."""
    if reading.samples is not None:
        return reading.samples.minimum, reading.samples.maximum
    number = as_float(reading.value)
    return number, number


def _worse(one: Seen, other: Seen) -> Seen:
    """Of two rounds; each bound by itself."""
    below, above = _least(one.below, other.below), _least(one.above, other.above)
    return msgspec.structs.replace(one, passed=one.passed and other.passed, below=below, above=above)


def _least(one: float | None, other: float | None) -> float | None:
    return min((each for each in (one, other) if each is not None), default=None)
