"""Limits for what a characteristic sends by itself: how often, how regularly, and the values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from benchrig.draft.evidence import Listening
from benchrig.draft.gather import Subject
from benchrig.draft.judged import Basis, Proposal, counted
from benchrig.draft.numeric import summary_limit
from benchrig.draft.propose import value_limits
from benchrig.draft.tolerance import Group, factor, spread_of
from benchrig.source.writing import Bare, decimal_text
from benchrig.values.quantity import number_text

# The clocks of two devices, and the ends of a subscription, make as much of a difference in any case.
LEAST_RATE_TOLERANCE = 5
# Beyond this a limit on the rate would pass half of it.
MOST_RATE_TOLERANCE = 45
# The longest gap that was seen, and as much again in parts of it: less than the two periods that a loss makes.
GAP_ROOM = 1.5


def stream_limits(subject: Subject, basis: Basis) -> dict[str, Proposal]:
    """Limits on the readings of a notify step. Every stream must have brought a value."""
    streams = subject.streams
    limits = _timing(streams, basis)
    many = replace(basis, together=max(stream.count for stream in streams))
    by_unit: dict[str, list[Any]] = {}
    for stream in streams:
        by_unit.setdefault(stream.unit, []).extend(subject.decode(data) for data in stream.values)
    if all(by_unit.values()):
        return limits | value_limits(subject, by_unit, many)
    return limits | _field_limits(subject, many)


def _field_limits(subject: Subject, basis: Basis) -> dict[str, Proposal]:
    """From records, which keep statistics of numbers only."""
    leaves = {f"value.{name}": leaf for name, leaf in subject.form.leaves().items()} if subject.form else {}
    leaves = leaves or ({"value": subject.form} if subject.form else {})
    limits = {}
    for name, leaf in leaves.items():
        groups = [stream.fields[name][0] for stream in subject.streams if name in stream.fields]
        if leaf.kind == "number" and len(groups) == len(subject.streams):
            limits[name] = summary_limit(groups, leaf, basis)
    return limits


def _timing(streams: Sequence[Listening], basis: Basis) -> dict[str, Proposal]:
    gaps = [stream.gaps for stream in streams if stream.gaps is not None]
    rates = [stream.rate for stream in streams if stream.rate]
    if len(gaps) < len(streams) or len(rates) < len(streams):
        return {"count": _some(streams, "no rate is known; listen longer")}
    tolerance = _rate_tolerance(gaps, rates, basis)
    if tolerance > MOST_RATE_TOLERANCE:
        return {"count": _some(streams, "too irregular for a limit on the rate")}
    mean = sum(rates) / len(rates)
    total = sum(gap.count for gap in gaps)
    seen = f"{_ends(rates)} Hz in {counted(len(streams), 'stream')} with {counted(total, 'gap')}"
    longest = max(gap.maximum for gap in gaps)
    return {
        "rate": Proposal({"nominal": _hertz(mean), "tolerance": Bare(f"{tolerance} %")}, f"{seen}; at least {LEAST_RATE_TOLERANCE} % to either side"),
        "gap_max": Proposal({"max": time_text(longest * GAP_ROOM)}, f"the longest of {counted(total, 'gap')} was {time_text(longest)}; half as much again"),
    }  # fmt: skip


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


def _some(streams: Sequence[Listening], why: str) -> Proposal:
    counts = sorted(stream.count for stream in streams)
    return Proposal({"min": Bare("1")}, f"{counts[0]} to {counts[-1]} came in a stream: {why}", guess=True)


def _ends(rates: Sequence[float]) -> str:
    low, high = (_short(rate) for rate in (min(rates), max(rates)))
    return low if low == high else f"{low} to {high}"


def _short(number: float) -> str:
    return number_text(float(f"{number:.4g}"))


def _hertz(rate: float) -> Bare:
    return Bare(f"{decimal_text(Fraction(f'{rate:.4g}'))} Hz")


def time_text(seconds: float) -> Bare:
    """A time for a limit, rounded up to two digits: '78 ms', '1.5 s'."""
    unit, number = ("s", seconds) if seconds >= 1 else ("ms", seconds * 1000)
    if number <= 0:
        return Bare("0 ms")
    step = Fraction(10) ** (math.floor(math.log10(number)) - 1)
    rounded = math.ceil(Fraction(f"{number:.9g}") / step) * step
    return Bare(f"{decimal_text(rounded)} {unit}")
