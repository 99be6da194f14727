"""Date Time, characteristic 0x2A08 (Bluetooth SIG GSS 2026)."""

from __future__ import annotations

import datetime
import re
import struct
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.values.base import Format, Kind, Named, check_size, said
from benchrig.values.value import Value, Word

_LAYOUT = struct.Struct("<HBBBBB")
_TEXT = re.compile(r"([0-9]{4}|\?{4})-([0-9]{2}|\?\?)-([0-9]{2}|\?\?)[T ]([0-9]{2}):([0-9]{2}):([0-9]{2})", re.ASCII)
_DATE = {"year": (1582, 9999), "month": (1, 12), "day": (1, 31)}
_RANGES = {**_DATE, "hour": (0, 23), "minute": (0, 59), "second": (0, 59)}


class DateTimeFormat(Format):
    """Seven octets: year, month, day, hour, minute, second. The value is ISO 8601 text, '2026-12-25T14:05:30';
    a year, month or day that is not known (0) is '????' or '??', and the text is then a Word, no point in time."""

    kind: Kind = "time"
    size = _LAYOUT.size

    def decode(self, data: bytes) -> Value:
        check_size(data, self.size, "a date and time")
        parts = _LAYOUT.unpack(data)
        _check(parts)
        year, month, day = (str(n).zfill(w) if n else "?" * w for n, w in zip(parts[:3], (4, 2, 2), strict=True))
        text = f"{year}-{month}-{day}T{parts[3]:02}:{parts[4]:02}:{parts[5]:02}"
        return Word(text) if "?" in text else text

    def encode(self, value: Any) -> bytes:
        match = _TEXT.fullmatch(value) if isinstance(value, str) else None
        if match is None:
            raise MalformedValue(
                f"expected a date and time as text, found {said(value)}", advice="for example: '2026-12-25T14:05:30'"
            )
        if "0000" in match.groups()[:1] or "00" in match.groups()[1:3]:
            message = f"{said(value)} has a year, month or day of 0"
            raise MalformedValue(message, advice="write ???? or ?? for not known")
        parts = tuple(0 if "?" in part else int(part) for part in match.groups())
        _check(parts)
        return _LAYOUT.pack(*parts)

    @property
    def name(self) -> str:
        return "date_time"


def _check(parts: tuple[int, ...]) -> None:
    for (name, (low, high)), number in zip(_RANGES.items(), parts, strict=True):
        unknown = number == 0 and name in _DATE
        if not unknown and not low <= number <= high:
            raise MalformedValue(f"the {name} {number} is outside {low} to {high}")
    if all(parts[:3]):
        try:
            datetime.date(*parts[:3])
        except ValueError:
            raise MalformedValue("{:04}-{:02}-{:02} is not a day of the calendar".format(*parts[:3])) from None


CLOCK_FIELDS = frozenset({"date_time", "day_of_week", "fraction", "adjust_reason"})
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def clock_fields(text: str) -> Any:
    """A date and time as the fields of Current Time, characteristic 0x2A2B: the day of the week goes by the date, and
    nothing is said of parts of a second and of the reason. Any other text as it is."""
    match = _TEXT.fullmatch(text)
    if match is None or "?" in text:
        return text
    try:
        day = _DAYS[datetime.date(*map(int, match.groups()[:3])).weekday()]
    except ValueError:
        return text
    return {"date_time": text, "day_of_week": day, "fraction": "0 s", "adjust_reason": 0}


NAMED = {"date_time": Named(frozenset(), lambda keys: DateTimeFormat())}
