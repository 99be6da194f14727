"""A stream of which only statistics are known: values and times that come to the same statistics. All of it is a guess."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.record.events import Reading, Samples
from benchrig.record.secrets import octets
from benchrig.values.base import Format


def times_of(readings: Mapping[str, Reading], count: int, began: float) -> list[float]:
    """Seconds since `began`, evenly from the first to the last; the longest gap is where a stream that fails has it: at the
    end of the first half."""
    window = next((r.window for name, r in readings.items() if name.startswith("value") and r.window), None)
    if window is None:
        return [0.0] * count
    first, last = window.begin - began, window.end - began
    gap = readings["gap_max"].value if "gap_max" in readings else None
    if count < 2:
        return [first] * count
    even = (last - first) / (count - 1)
    # a gap that is open at the end of the listening is none between two values
    if not isinstance(gap, (int, float)) or gap <= even * 1.5 or gap > last - first or count < 3:
        return [first + even * index for index in range(count)]
    rest = (last - first - gap) / (count - 2)
    middle = count // 2
    return [first + rest * index + (gap - rest) * (index >= middle) for index in range(count)]


def values_of(readings: Mapping[str, Reading], count: int, form: Format | None, counter: str | None) -> list[bytes]:
    """The last one is on record. `counter`: the field that counts them, 'value' for a single one."""
    last = next((data for name, r in readings.items() if name.startswith("value") and (data := octets(r.raw))), b"")
    values = [last] * count
    if form is None:
        return values
    try:
        if counter is not None and "lost" in readings:
            values = _counted(readings, values, form, counter)
        return _with_extremes(readings, _without_fields(readings, values, form), form)
    except (MalformedValue, KeyError, ValueError, TypeError):
        return values


def _counted(readings: Mapping[str, Reading], values: list[bytes], form: Format, counter: str) -> list[bytes]:
    """Numbers that end with the last one, with so many missing and so many doubled as were counted, in the middle."""
    plain = form.plain()
    if readings["lost"].value is None:
        return _without_fields(readings, values, form)
    whole = plain.decode(values[-1])
    number: Any = whole[counter] if isinstance(whole, dict) else whole
    doubled = int(readings["duplicated"].value or 0) if "duplicated" in readings else 0
    numbers = [int(number)]
    middle, gaps = len(values) // 2, max(1, len(values) - 1)
    each, more = divmod(int(str(readings["lost"].value)), gaps)
    while len(numbers) < len(values):
        at = len(values) - len(numbers)
        step = 0 if middle <= at < middle + doubled else 1
        numbers.append(numbers[-1] - step - each - (more if at == middle - (middle > 1) else 0))
    size = plain.counts if not isinstance(whole, dict) else form.leaves()[counter].counts
    made = [one % size if size else one for one in reversed(numbers)]
    return [plain.encode({**whole, counter: one} if isinstance(whole, dict) else one) for one in made]


def _without_fields(readings: Mapping[str, Reading], values: list[bytes], form: Format) -> list[bytes]:
    """Where fewer values had a field than there were: the first ones do not have it."""
    fields = {
        name.removeprefix("value."): r.samples
        for name, r in readings.items()
        if name.startswith("value.") and r.samples
    }
    short = [name for name, samples in fields.items() if samples and samples.count < len(values)]
    if not short:
        return values
    least: dict[str, Any] = {
        name: int(samples.minimum)
        for name, samples in fields.items()
        if samples and samples.minimum is not None and name not in short
    }
    lacking = max(len(values) - samples.count for samples in fields.values() if samples)
    return [form.plain().encode(least)] * lacking + values[lacking:]


def _with_extremes(readings: Mapping[str, Reading], values: list[bytes], form: Format) -> list[bytes]:
    """The smallest and the largest of a single value; what was outside its limit, at its place."""
    made = [*values]
    single = readings["value"].samples if "value" in readings else None
    low, high = (single.minimum, single.maximum) if single is not None else (None, None)
    if low is not None and high is not None and low != high and len(made) > 2:
        made[0], made[1] = form.encode(_number(low)), form.encode(_number(high))
    for name, reading in readings.items():
        if name.startswith("value") and reading.samples and reading.samples.first_outside is not None:
            _put_outside(made, name.removeprefix("value").removeprefix("."), reading, reading.samples, form)
    return made


def _put_outside(made: list[bytes], field: str, reading: Reading, samples: Samples, form: Format) -> None:
    """As many as were outside, one after the other from the first on."""
    low = reading.judgement.low if reading.judgement else None
    is_low = isinstance(low, (int, float)) and samples.minimum is not None and samples.minimum < low
    worst = samples.minimum if is_low else samples.maximum
    first = samples.first_outside or 0
    for index in range(first, min(len(made), first + samples.outside)) if worst is not None else ():
        value = _number(worst or 0)
        there: Any = form.decode(made[index])
        made[index] = form.encode({**there, field: value} if field else value)


def _number(value: float) -> Any:
    return Fraction(str(value))
