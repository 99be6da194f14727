"""Limits for what a characteristic sends by itself: how often, how regularly, and the values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

from benchrig.draft.attributes import AttributeEvidence
from benchrig.draft.evidence import StreamSeen
from benchrig.propose.numeric import summary_limit
from benchrig.propose.proposal import Basis, Grounds, Proposal
from benchrig.propose.value import value_limits
from benchrig.source.problem import counted
from benchrig.source.writing import Bare, decimal_text
from benchrig.study.tolerance import Group, factor, spread_of
from benchrig.values.base import Format
from benchrig.values.numbers import IntegerFormat
from benchrig.values.quantity import number_text

# The clocks of two devices, and the ends of a subscription, make as much of a difference in any case.
LEAST_RATE_TOLERANCE = 5
# Beyond this a limit on the rate would pass half of it.
MOST_RATE_TOLERANCE = 45
# The longest gap that was seen, and as much again in parts of it: less than the two periods that a loss makes.
GAP_ROOM = 1.5
# Nearly all gaps: a fifth more than what was seen, and more than one connection event (common practice is 15 ms to 30 ms
# between two of them) in any case; from so many gaps on.
P95_ROOM = 1.2
P95_LEAST_ROOM = 0.02
ENOUGH_GAPS = 20
# What is under way when a subscription begins and ends.
EDGE = 1
# Without a rate a stream may bring so many times what was seen, and one more.
COUNT_ROOM = 2


def stream_limits(subject: AttributeEvidence, basis: Basis) -> dict[str, Proposal]:
    """Limits on the readings of a notify step. Every stream must have brought a value."""
    streams = subject.streams
    limits = _timing(streams, basis)
    if counting(subject):
        reason = f"it counts by one in {counted(len(streams), 'stream')}"
        none = Proposal({"equals": Bare("0")}, reason, _grounds(streams))
        limits |= {"lost": none, "duplicated": none}
    many = replace(basis, together=max(stream.count for stream in streams))
    by_unit = decoded(subject)
    if all(by_unit.values()):
        return limits | value_limits(subject.form, by_unit, many, uuid=subject.uuid, setting=subject.is_setting)
    return limits | _field_limits(subject, many)


def decoded(subject: AttributeEvidence) -> dict[str, list[Any]]:
    """The values of all streams by unit."""
    by_unit: dict[str, list[Any]] = {}
    for stream in subject.streams:
        by_unit.setdefault(stream.unit, []).extend(subject.decode(data) for data in stream.values)
    return by_unit


def counting(subject: AttributeEvidence) -> str:
    """The field (or 'value') that numbers the values of every stream; '' for none. The first of several."""
    leaves = (subject.form.leaves() or {"value": subject.form}) if subject.form else {}
    rows = [[subject.decode(data) for data in stream.values] for stream in subject.streams]
    return next((name for name, leaf in leaves.items() if all(_numbers(leaf, _column(row, name)) for row in rows)), "")


def _column(row: list[Any], name: str) -> list[Any]:
    return [value.get(name) if isinstance(value, dict) else value for value in row]


def _numbers(leaf: Format, column: list[Any]) -> bool:
    """Whether the values go up by one each time, so often that it is no accident."""
    scaled = isinstance(leaf, IntegerFormat) and (leaf.scale != 1 or leaf.offset)
    if not leaf.counts or scaled or leaf.unit:
        return False
    if len(column) <= ENOUGH_GAPS or not all(type(value) is int for value in column):
        return False
    return all((later - earlier) % leaf.counts == 1 for earlier, later in pairwise(column))


def _grounds(streams: Sequence[StreamSeen], *, shown: bool = True) -> Grounds:
    return Grounds(len({stream.unit for stream in streams}), shown)


def _field_limits(subject: AttributeEvidence, basis: Basis) -> dict[str, Proposal]:
    """From records, which keep statistics of numbers only."""
    leaves = {f"value.{name}": leaf for name, leaf in subject.form.leaves().items()} if subject.form else {}
    leaves = leaves or ({"value": subject.form} if subject.form else {})
    limits = {}
    for name, leaf in leaves.items():
        groups = [stream.fields[name] for stream in subject.streams if name in stream.fields]
        if leaf.kind == "number" and len(groups) == len(subject.streams):
            limits[name] = summary_limit(groups, leaf, basis)
    return limits


def _timing(streams: Sequence[StreamSeen], basis: Basis) -> dict[str, Proposal]:
    gaps = [stream.gaps for stream in streams if stream.gaps is not None]
    rates = [stream.rate for stream in streams if stream.rate]
    if len(gaps) < len(streams) or len(rates) < len(streams):
        return {"count": _some(streams, "no rate is known; listen longer")}
    tolerance = _rate_tolerance(gaps, rates, basis)
    if tolerance > MOST_RATE_TOLERANCE:
        return {"count": _some(streams, "too irregular for a limit on the rate")}
    least = _least(streams, min(rates) * (1 - tolerance / 100))
    if least > min(stream.count for stream in streams):
        return {"count": _some(streams, "the stream stopped before the end")}
    nominal = Bare(f"{decimal_text(Fraction(f'{sum(rates) / len(rates):.4g}'))} Hz")
    total = sum(gap.count for gap in gaps)
    seen = f"{_ends(rates)} Hz in {counted(len(streams), 'stream')} with {counted(total, 'gap')}"
    sides = f"{seen}; at least {LEAST_RATE_TOLERANCE} % to either side"
    return {
        "count": _enough(streams, least),
        "rate": Proposal({"nominal": nominal, "tolerance": Bare(f"{tolerance} %")}, sides, _grounds(streams)),
        **_gaps(streams, gaps, total),
    }


def _least(streams: Sequence[StreamSeen], rate: float) -> int:
    """A stream that dies keeps its rate up to then: it is the count that tells."""
    return max(1, math.floor(max(stream.seconds for stream in streams) * rate) - EDGE)


def _enough(streams: Sequence[StreamSeen], least: int) -> Proposal:
    counts = sorted(stream.count for stream in streams)
    reason = f"{counts[0]} to {counts[-1]} arrived in a stream; as many as the slowest rate brings, less {EDGE}"
    return Proposal({"min": Bare(f"{least}")}, reason, _grounds(streams))


def _gaps(streams: Sequence[StreamSeen], gaps: Sequence[Group], total: int) -> dict[str, Proposal]:
    longest = max(gap.maximum for gap in gaps)
    chosen = _grounds(streams, shown=False)
    reason = f"the longest of {counted(total, 'gap')} was {time_text(longest)}; plus 50 %"
    limits = {"gap_max": Proposal({"max": time_text(longest * GAP_ROOM)}, reason, chosen)}
    nearly = [stream.gap_p95 for stream in streams if stream.gap_p95 is not None]
    if len(nearly) == len(streams) and min(gap.count for gap in gaps) >= ENOUGH_GAPS:
        room = max((P95_ROOM - 1) * max(nearly), P95_LEAST_ROOM)
        reason = f"95 % of the gaps were within {time_text(max(nearly))}; {time_text(room)} more"
        limits["gap_p95"] = Proposal({"max": time_text(max(nearly) + room)}, reason, chosen)
    return limits


def _rate_tolerance(gaps: Sequence[Group], rates: Sequence[float], basis: Basis) -> int:
    """In whole percent: what the spread of the gaps makes of a rate, twice what the streams differ by, or the least."""
    spread = spread_of([_pooled(gaps)])
    mean = sum(rates) / len(rates)
    apart = 2 * max(abs(rate - mean) for rate in rates) / mean
    noise = 0.0
    if spread.sd and spread.freedom > 0:
        reach = factor(spread.size, spread.freedom, basis.coverage, basis.confidence)
        noise = reach * spread.sd / spread.mean / math.sqrt(min(gap.count for gap in gaps))
    return max(LEAST_RATE_TOLERANCE, math.ceil(100 * max(apart, noise)))


def _pooled(gaps: Sequence[Group]) -> Group:
    """All gaps as one group."""
    count = sum(gap.count for gap in gaps)
    mean = sum(gap.count * gap.mean for gap in gaps) / count
    squares = sum((gap.count - 1) * gap.sd**2 + gap.count * (gap.mean - mean) ** 2 for gap in gaps)
    sd = math.sqrt(squares / (count - 1)) if count > 1 else 0.0
    return Group(count, mean, sd, min(gap.minimum for gap in gaps), max(gap.maximum for gap in gaps))


def _some(streams: Sequence[StreamSeen], why: str) -> Proposal:
    counts = sorted(stream.count for stream in streams)
    reason = f"{counts[0]} to {counts[-1]} arrived in a stream: {why}"
    ends = {"min": Bare("1"), "max": Bare(f"{COUNT_ROOM * counts[-1] + 1}")}
    return Proposal(ends, reason, _grounds(streams, shown=False))


def _ends(rates: Sequence[float]) -> str:
    low, high = (_short(rate) for rate in (min(rates), max(rates)))
    return low if low == high else f"{low} to {high}"


def _short(number: float) -> str:
    return number_text(float(f"{number:.4g}"))


def time_text(seconds: float) -> Bare:
    """A time for a limit, rounded up to two digits: '78 ms', '1.5 s'."""
    unit, number = ("s", seconds) if seconds >= 1 else ("ms", seconds * 1000)
    if number <= 0:
        return Bare("0 ms")
    step = Fraction(10) ** (math.floor(math.log10(number)) - 1)
    rounded = math.ceil(Fraction(f"{number:.9g}") / step) * step
    return Bare(f"{decimal_text(rounded)} {unit}")
