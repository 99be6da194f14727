"""What came of one attribute: how often, and the numbers in it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from benchrig.desk.inspection import Content, content
from benchrig.desk.pace import Pace
from benchrig.desk.strip import Strip
from benchrig.source.shape import Misfit
from benchrig.steps.listening import Counter
from benchrig.steps.stream import counter_of
from benchrig.values.base import flat
from benchrig.values.format import Format
from benchrig.values.statistics import Moments


@dataclass(frozen=True)
class Tally:
    """What the counter shows up to a value; None as long as it shows nothing."""

    lost: int | None
    duplicated: int | None


@dataclass(frozen=True)
class Arrival:
    """One notification."""

    channel: Channel
    number: int
    # seconds since the watch began
    at: float
    # seconds since the one before, None for the first and after a hole
    gap: float | None
    raw: bytes
    # in the shape that a read gives it
    content: Content
    # where the values are counted
    tally: Tally | None = None

    @property
    def attribute(self) -> str:
        return self.channel.name

    @property
    def value(self) -> Any:
        """JSON data; None where there is no format, or where the bytes do not fit it: `wrong` says why."""
        return self.content.value

    @property
    def wrong(self) -> str:
        return self.content.wrong


@dataclass
class Series:
    """A single value, or one field of a structure, over time. `last` is JSON data; numbers count in `moments` and are
    drawn from `strip`."""

    name: str
    unit: str
    last: Any = None
    moments: Moments = field(default_factory=Moments)
    strip: Strip = field(default_factory=Strip)

    @property
    def is_numeric(self) -> bool:
        return self.moments.count > 0

    def add(self, at: float, value: Any) -> None:
        """A value that came `at` seconds after the watch began."""
        self.last = value
        if type(value) in (int, float) and math.isfinite(value):
            self.moments.add(value)
            self.strip.add(at, value)


class Channel:
    """One attribute; `form` is None where its value has no format."""

    def __init__(self, name: str, form: Format | None = None, wanted: int | None = None) -> None:
        self.name = name
        # how many values are taken; None for all
        self.wanted = wanted
        self.count = self.malformed = 0
        # the longest gap in seconds
        self.longest: float | None = None
        # why the last value is malformed, '' where it is not
        self.wrong = ""
        self.pace = Pace()
        self._counter: Counter | None = None
        self.take_format(form)

    def take_format(self, form: Format | None) -> None:
        """The format of the values, before the first one."""
        self.form = form
        self.units: dict[str, str] = form.fields() if form is not None else {}
        self.series: dict[str, Series] = {}
        for name in self.units or ("",):
            self._of(name)

    def count_by(self, field: str) -> None:
        """Count the values by this field. Misfit."""
        self._counter = typed_counter(self.form, field)

    @property
    def tally(self) -> Tally | None:
        return None if self._counter is None else Tally(self._counter.lost, self._counter.duplicated)

    @property
    def uncounted(self) -> str:
        """Why the tally has no numbers."""
        return "" if self._counter is None else self._counter.lacks

    @property
    def is_complete(self) -> bool:
        return self.wanted is not None and self.count >= self.wanted

    def take(self, at: float, data: bytes) -> Arrival:
        """Count and decode what came."""
        self.count += 1
        self.pace.add(at)
        gap = self.pace.gap()
        if gap is not None:
            self.longest = gap if self.longest is None else max(self.longest, gap)
        made = content(data, self.form)
        self.wrong = made.wrong
        self.malformed += bool(made.wrong)
        if not made.wrong:
            for name, item in fields_of(made.raw if self.form is None else made.value).items():
                self._of(name).add(at, item)
            if self._counter is not None:
                self._counter.take(data)
        return Arrival(self, self.count, at, gap, bytes(data), made, self.tally)

    def interrupt(self, at: float) -> None:
        """The link is gone: what comes next follows nothing."""
        self.pace.restart()
        for series in self.series.values():
            series.strip.end(at)

    def _of(self, name: str) -> Series:
        found = self.series.get(name)
        if found is None:
            unit = self.units.get(name, "") if name or self.form is None else self.form.unit
            found = self.series[name] = Series(name, unit)
        return found


def typed_counter(form: Format | None, field: str) -> Counter:
    """What counts the values by a field that was typed behind --counter. Misfit."""
    try:
        return counter_of(form, field)
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice.replace("counter: ", "--counter ")) from misfit


def fields_of(value: Any) -> dict[str, Any]:
    """The fields of a structure by their dotted names; a single value as ''."""
    return flat(value) if isinstance(value, dict) else {"": value}
