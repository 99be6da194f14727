"""What came of one attribute: how often, and the numbers in it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from benchrig.desk.inspection import Content
from benchrig.desk.pace import Pace
from benchrig.desk.strip import Strip
from benchrig.errors import MalformedValue
from benchrig.values.base import flat
from benchrig.values.format import Format
from benchrig.values.jsonable import hex_text, jsonable
from benchrig.values.statistics import Moments


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
    # JSON data; None where there is no format, or where the bytes do not fit it: `wrong` says why
    value: Any = None
    wrong: str = ""

    @property
    def attribute(self) -> str:
        return self.channel.name

    @property
    def content(self) -> Content:
        """In the shape that a read gives it."""
        made, form = Content(hex_text(self.raw), self.value, wrong=self.wrong), self.channel.form
        if form is not None:
            made.unit, made.units, made.format = form.unit, form.fields(), form.describe()
        return made


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
        self.take_format(form)

    def take_format(self, form: Format | None) -> None:
        """The format of the values, before the first one."""
        self.form = form
        self.units: dict[str, str] = form.fields() if form is not None else {}
        self.series: dict[str, Series] = {}
        for name in self.units or ("",):
            self._of(name)

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
        raw = bytes(data)
        if self.form is None:
            self._of("").add(at, jsonable(raw))
            return Arrival(self, self.count, at, gap, raw)
        try:
            value = jsonable(self.form.decode(raw))
        except MalformedValue as error:
            self.malformed += 1
            self.wrong = error.message
            return Arrival(self, self.count, at, gap, raw, wrong=error.message)
        self.wrong = ""
        for name, item in fields_of(value).items():
            self._of(name).add(at, item)
        return Arrival(self, self.count, at, gap, raw, value)

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


def fields_of(value: Any) -> dict[str, Any]:
    """The fields of a structure by their dotted names; a single value as ''."""
    return flat(value) if isinstance(value, dict) else {"": value}
