"""Limits from what the sound device gave in several runs: wide ones to have the readings told, then narrow ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from benchrig.propose.numeric import number_limit
from benchrig.propose.proposal import Basis
from benchrig.source.writing import Bare, Quoted, decimal_text
from benchrig.steps.base import ReadingType
from benchrig.values.quantity import exact, is_number

# A time may be so many times what it was at most, and so many seconds in any case.
TIME_ROOM, LEAST_TIME = 3, Fraction(1, 2)
# Intervals and gaps, rates and counts may be off by this share.
PERIOD_ROOM = Fraction(1, 4)
RATE_ROOM = Fraction(1, 10)
# The rate of a stream is that of a clock: the ends of the stream, and what the air holds back, are all that it is off by.
STREAM_ROOM = Fraction(1, 20)
# A level may be so many dB beyond those that were heard.
LEVEL_ROOM = 6
_LONGEST = 256
# The reading of a request that was not refused.
NO_ERROR = "none"
_LOWEST = 10**9


def wide(kind: ReadingType) -> dict[str, Any]:
    """A limit that any value satisfies, so that the step tells the reading."""
    unit = f" {kind.unit}" if kind.unit else ""
    by_kind: dict[str, dict[str, Any]] = {
        "number": {"min": Bare(f"-{_LOWEST}{unit}")},
        "text": {"matches": "(?s).*"},
        "time": {"matches": ".*"},
        "boolean": {"differs": "neither"},
        "bytes": {"length": {"max": Bare("100000")}},
        "list": {"length": {"max": Bare("100000")}},
    }
    return by_kind.get(kind.kind, {"differs": "neither"})


def narrow(
    name: str, kind: ReadingType, values: Sequence[Any], room: Fraction | None = None
) -> tuple[dict[str, Any], str] | None:
    """The limit and why; None where the values show none. `values` are those of all runs; `room` is the share by which
    a number may be off, if that is known."""
    told = [value for value in values if value is not None]
    if not told or len(told) < len(values):
        return None
    if kind.kind == "number" and all(map(is_number, told)):
        return _number(name.rpartition(".")[2], kind, told) if room is None else _within(kind, told, room)
    same = all(value == told[0] for value in told)
    if same and isinstance(told[0], bool):
        return {"equals": told[0]}, _seen(told)
    if name == "att_error" and told[0] == NO_ERROR:
        return None  # it was taken
    if same and isinstance(told[0], str) and (kind.kind == "bytes" or told[0]) and len(told[0]) <= _LONGEST:
        return {"equals": _text(kind, told[0])}, _seen(told)
    if same and isinstance(told[0], list) and all(isinstance(item, str) for item in told[0]):
        return {"equals": told[0]}, _seen(told)
    return None


def tighter(old: Any, new: dict[str, Any], kind: ReadingType) -> dict[str, Any] | None:
    """Both limits in one, where the new one asks for more on one side at least; None where it does not, or the old one is
    none with ends."""
    ends = [_end(old, "low"), _end(old, "high")]
    if kind.kind != "number" or ends == [None, None] or new.keys() - {"min", "max"}:
        return None
    low, high = _fraction(new.get("min")), _fraction(new.get("max"))
    lows = [each for each in (ends[0], low) if each is not None]
    highs = [each for each in (ends[1], high) if each is not None]
    least, most = max(lows, default=None), min(highs, default=None)
    if (least, most) == (ends[0], ends[1]):
        return None
    return _range(least, most, kind.unit)


def _end(bound: Any, name: str) -> Fraction | None:
    number: Any = getattr(bound, name, None)
    return exact(number) if is_number(number) else None


def _fraction(text: Any) -> Fraction | None:
    return None if text is None else Fraction(str(text).partition(" ")[0])


def _number(name: str, kind: ReadingType, values: Sequence[Any]) -> tuple[dict[str, Any], str] | None:
    numbers = [exact(value) for value in values]
    low, high = min(numbers), max(numbers)
    if kind.form is not None:
        proposal = number_limit({"unit": values}, kind.form, Basis(), setting=False)
        return (proposal.limit, proposal.reason) if proposal.limit else None
    if name == "attempts":
        return {"max": _bare(high + 1, kind.unit)}, _seen(values)
    if low == high and (not kind.unit or kind.unit == "bytes" or name in _COUNTED):
        return {"equals": _bare(low, kind.unit)}, _seen(values)
    ways = {"s": (Fraction(0), max(TIME_ROOM * high, high + LEAST_TIME)), "dBm": (low - LEVEL_ROOM, high + LEVEL_ROOM)}
    if name in _GAPS:
        ends = (Fraction(0), high * (1 + PERIOD_ROOM))
    elif name == "rate":
        ends = (low * (1 - STREAM_ROOM), high * (1 + STREAM_ROOM))
    elif name in _PERIODS:
        ends = (low * (1 - PERIOD_ROOM), high * (1 + PERIOD_ROOM))
    elif kind.unit in ways:
        ends = ways[kind.unit]
    else:
        ends = (low * (1 - RATE_ROOM), high * (1 + RATE_ROOM))
    return _range(*_rounded(*ends), kind.unit), _seen(values)


def _within(kind: ReadingType, values: Sequence[Any], room: Fraction) -> tuple[dict[str, Any], str]:
    numbers = [exact(value) for value in values]
    ends = (min(numbers) * (1 - room), max(numbers) * (1 + room))
    return _range(*_rounded(*ends, _FINE), kind.unit), _seen(values)


_FINE = 4
_PERIODS = frozenset({"interval"})
# Too short a gap is a rate that is too high.
_GAPS = frozenset({"gap_p95", "gap_max"})
# What is the same as long as nothing is wrong.
_COUNTED = frozenset({"lost", "duplicated", "tx_power", "key_size", "tries"})


def _rounded(low: Fraction, high: Fraction, count: int = 2) -> tuple[Fraction | None, Fraction]:
    """With so many digits or so, outward; from nothing on is no end."""
    digits = Fraction(10) ** (count - 1 - math.floor(math.log10(max(abs(low), abs(high), Fraction(1, 1000)))))
    least = Fraction(math.floor(low * digits)) / digits
    return least if low else None, Fraction(math.ceil(high * digits)) / digits


def _range(low: Fraction | None, high: Fraction | None, unit: str) -> dict[str, Any]:
    ends = {"min": low, "max": high}
    return {key: _bare(number, unit) for key, number in ends.items() if number is not None}


def _bare(number: Fraction, unit: str) -> Bare:
    return Bare(f"{decimal_text(number)} {unit}".rstrip())


def _text(kind: ReadingType, text: str) -> str:
    """Bytes as a record has them are in pairs here."""
    return Quoted(bytes.fromhex(text).hex(" ").upper()) if kind.kind == "bytes" else text


def _seen(values: Sequence[Any]) -> str:
    numbers = [value for value in values if is_number(value)]
    if len(numbers) == len(values) and min(numbers) != max(numbers):
        return f"{min(numbers):.4g} to {max(numbers):.4g} in {len(values)} runs of the sound device"
    return f"the same in {len(values)} runs of the sound device"
