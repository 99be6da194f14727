"""Two records of one plan on two radios: what differs beyond the radio, times, levels, notes, and what a radio lacks."""

from __future__ import annotations

from typing import Any

from benchrig.radio.offers import LACKS, PARTLY
from benchrig.record.events import Reading
from benchrig.record.model import Execution, Record

# Readings that no two runs share: times, and what follows from them or from chance.
MEASURED = {
    "found_after", "elapsed", "rssi", "interval", "count", "rate", "first_after", "gap_max", "gap_p95", "throughput",
    "advertises_after", "response_time", "payload", "tries",
}  # fmt: skip
LACKING = frozenset(name for lacks in LACKS.values() for name in lacks)
# These are compared where no radio lacks its judgement.
LACKING_PARTLY = frozenset(name for lacks in PARTLY.values() for name in lacks)


def differences(one: Record, other: Record) -> list[str]:
    """In words; nothing when the records agree."""
    head = [name for name in ("plan", "plan_hash", "revision", "given", "caution") if of(one, name) != of(other, name)]
    pairs = zip(one.steps, other.steps, strict=True)
    return [*head, *(f"{a.planned.name}: {what}" for a, b in pairs for what in _in_step(a, b))]


def of(record: Record, name: str) -> Any:
    return getattr(record.run, name)


def _in_step(one: Execution, other: Execution) -> list[str]:
    found = [] if _end(one) == _end(other) else [f"{_end(one)} / {_end(other)}"]
    readings, others = _readings(one), _readings(other)
    found += [f"{name}: only on one radio" for name in readings.keys() ^ others.keys()]
    for name in readings.keys() & others.keys():
        lacking = f"{one.planned.kind}.{name}" in LACKING_PARTLY and None in (readings[name][0], others[name][0])
        if readings[name] != others[name] and not lacking:
            found.append(f"{name}: {readings[name]} / {others[name]}")
    return found


def _end(step: Execution) -> Any:
    end = step.ended
    return end and (end.verdict, end.cause, end.root, end.attempts)


def _readings(step: Execution) -> dict[str, Any]:
    """Of each reading what has to be the same. Measured values are compared by their judgement alone."""
    kind = step.planned.kind
    return {r.name: _same(r) for r in step.readings if f"{kind}.{r.name}" not in LACKING}


def _same(reading: Reading) -> Any:
    judgement = reading.judgement
    judged = judgement and (judgement.passed, judgement.place)
    varies = reading.name in MEASURED or reading.samples is not None or isinstance(reading.value, float)
    if varies:
        # a bound may come from a value that was measured before
        return judged, reading.unit
    return judged, reading.unit, reading.value, judgement and (judgement.low, judgement.high)
