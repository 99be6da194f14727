"""The limit on a stream over again: by the samples that were kept, else by the least and the greatest of them."""

from __future__ import annotations

import re
from typing import Any

from msgspec.structs import replace

from benchrig.record.events import Reading, Samples
from benchrig.rejudge.typed import value_of
from benchrig.run.judge import Outside, RunningJudge
from benchrig.values.confident import SIDES
from benchrig.values.judging import BoundLimit, Judgement, Kind
from benchrig.values.quantity import is_number


class Undecided(Exception):
    """What is on record does not say whether the limit holds."""


_NOT_KEPT = "the samples were not kept, and the least and the greatest of them do not decide"


def judged(reading: Reading, running: RunningJudge, limit: Any, kind: Kind, *, whole: bool) -> Judgement | None:
    """The judgement on the stream; None for one that was cut off and broke nothing. Undecided, Misfit."""
    samples, before = reading.samples, reading.judgement
    assert samples is not None
    if reading.kept is not None and not reading.kept.left_out and len(reading.kept.values) == samples.count:
        return _one_by_one(reading, running, kind, whole=whole)
    last = value_of(reading, kind)
    if not samples.count:
        return _of_none(running, before)
    extremes = [each for each in (samples.minimum, samples.maximum) if each is not None] or [last]
    bound = running.bound_to(extremes[0])
    same = before is not None and before.limit == getattr(bound, "words", "")
    if getattr(limit, "needs_samples", False):
        return _as_before(before, limit, bound)
    broken = [value for value in extremes if not running.passes(value)]
    if broken or (same and samples.outside):
        return _outside(running, bound, samples, before if same else None, extremes, broken)
    if not same and not _decides(limit, samples, extremes):
        raise Undecided(_NOT_KEPT)
    return running.whole(samples.count, extremes) if whole else None


def _one_by_one(reading: Reading, running: RunningJudge, kind: Kind, *, whole: bool) -> Judgement | None:
    """As the run did it: all samples were kept."""
    kept = reading.kept
    assert kept is not None
    values = [value_of(replace(reading, value=value, raw=None), kind) for value in kept.values]
    for index, (value, at) in enumerate(zip(values, kept.at, strict=True)):
        if not running.passes(value) and running.first is None:
            running.keep(index, at, value, None)
    numbers = [value for value in values if is_number(value)]
    extremes = [min(numbers), max(numbers)] if numbers else []
    if not values:
        return _of_none(running, reading.judgement)
    return running.whole(len(values), extremes or values[-1:]) if whole else running.broken(len(values), extremes)


def _of_none(running: RunningJudge, before: Judgement | None) -> Judgement:
    if before is not None and before.passed:
        return running.empty()
    return running.whole(0, [])


def _as_before(before: Judgement | None, limit: Any, bound: Any) -> Judgement:
    """Of a limit on the order of the samples, which the record does not have."""
    words = getattr(bound, "_bound", bound)
    if before is not None and isinstance(words, BoundLimit) and words.words in before.limit:
        return before
    raise Undecided("the samples were not kept, and the limit is on their order")


def _decides(limit: Any, samples: Samples, extremes: list[Any]) -> bool:
    """Whether all samples hold to a limit that the least and the greatest of them hold to."""
    if samples.others or not is_number(extremes[0]):
        return samples.count == 1
    return extremes[0] == extremes[-1] or SIDES.issuperset(limit.keys())


def _outside(
    running: RunningJudge,
    bound: Any,
    samples: Samples,
    before: Judgement | None,
    extremes: list[Any],
    broken: list[Any],
) -> Judgement | None:
    """A sample broke the limit. By the limit of the run it is known which was the first; else the farthest is told."""
    if before is not None and samples.first_outside is not None:
        at = samples.first_outside_at or 0.0
        numbers = is_number(extremes[0])
        head = f"{samples.outside} of {samples.count} samples outside; the first, number {samples.first_outside + 1} at {at:.3f} s: "
        first = replace(bound.judge(extremes[0]), passed=False, margin=None)
        first = replace(first, sentence=_first_sentence(before.sentence, head, bound, samples)) if numbers else first
        running.outside = samples.outside
        running.first = Outside(samples.first_outside, at, None, None, first)
        return running.broken(samples.count, extremes if numbers else [])
    worst: Judgement = min((bound.judge(value) for value in broken), key=lambda each: each.margin or 0.0)
    return replace(
        worst, sentence=f"of {samples.count} samples at least one is outside: {worst.sentence}", place=running.place
    )


_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?(?:e[-+]?[0-9]+)?")
# A number that has more digits is shown with six.
_SHOWN = 1e-5


def _first_sentence(told: str, head: str, bound: Any, samples: Samples) -> str:
    """What the record tells of the first sample outside, which this sentence alone has. Where no sample of the stream can be
    told so: what the worst of them comes to."""
    said = told.removeprefix(head)
    number = _NUMBER.match(said)
    if number is None and samples.others:
        return said  # that sample was no number
    if number is not None and _tells(said, _value(number[0]), bound, samples):
        return said
    extremes = [value for value in (samples.minimum, samples.maximum) if value is not None]
    worst: Judgement = min((bound.judge(value) for value in extremes), key=lambda each: each.margin or 0.0)
    return worst.sentence


def _tells(said: str, value: float, bound: Any, samples: Samples) -> bool:
    """Whether a sample can be this value, and the limit says so of it."""
    found, slack = bound.judge(value).sentence, abs(value) * _SHOWN
    pairs = zip(_NUMBER.findall(said), _NUMBER.findall(found), strict=False)
    return (
        (samples.minimum or 0) - slack <= value <= (samples.maximum or 0) + slack
        and _NUMBER.sub("#", said) == _NUMBER.sub("#", found)
        and all(abs(_value(one) - _value(other)) <= max(slack, abs(_value(other)) * _SHOWN) for one, other in pairs)
    )


def _value(number: str) -> float:
    return int(number) if number.lstrip("-").isdigit() else float(number)
