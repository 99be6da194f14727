"""What a device advertises under each of its addresses, and what of it would let anybody follow it over the next one."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from benchrig.radio.scan import Report
from benchrig.values.advertising import split
from benchrig.values.advertising_data import type_name

# Values of one kind under one address that are kept: the newest would say no more.
_MOST_VALUES = 4096
_WIDTHS = (1, 2, 3, 4, 8)
# A counter rises by less than this part of its range at a time, and often enough to be one.
_SMALL = 16
_LEAST_STEPS = 4
# Types of advertising data that a report has in fields of its own: services, names, transmit power, service and manufacturer
# data; and the flags, which tell no device from another.
_READ_ALREADY = {*range(0x01, 0x0B), 0x16, 0x20, 0x21, 0xFF}
# So many bits have to speak against chance before something counts on.
_SURE = 12.0
# A value of fewer octets may come back by chance.
_MARK = 4


class Change(NamedTuple):
    at: float
    value: Any


@dataclass
class Content:
    """What one address has advertised: by kind ('name', 'manufacturer data 0xFFFF') the values in the order of time."""

    values: dict[str, list[Change]] = field(default_factory=dict)

    def hear(self, report: Report, label: Callable[[str], str]) -> None:
        for kind, value in _parts(report, label):
            kept = self.values.setdefault(kind, [])
            if not kept or (kept[-1].value != value and len(kept) < _MOST_VALUES):
                kept.append(Change(report.at, value))


def _parts(report: Report, label: Callable[[str], str]) -> Iterator[tuple[str, Any]]:
    if report.name:
        yield "name", report.name
    if report.services:
        yield "services", tuple(sorted(report.services))
    if report.tx_power is not None:
        yield "tx power", report.tx_power
    for company, data in report.manufacturer_data.items():
        yield f"manufacturer data 0x{company:04X}", data
    for uuid, data in report.service_data.items():
        yield f"service data {label(uuid)}", data
    for payload in filter(None, (report.payload, report.scan_response)):
        for kind, data in split(payload).structures:
            if kind not in _READ_ALREADY:
                yield (type_name(kind) or f"type 0x{kind:02X}").lower(), data


def constant(contents: Sequence[Content]) -> list[str]:
    """What is the same under each of several addresses: whole, or some bytes of it."""
    return [words for kind in _common(contents) if (words := _constant(kind, _series(contents, kind)))]


def continues(contents: Sequence[Content]) -> list[str]:
    """The kinds of data in which a number goes on counting from one address to the next; the addresses in the order of
    time."""
    return [kind for kind in _common(contents) if _counts_on(_series(contents, kind))]


def _common(contents: Sequence[Content]) -> list[str]:
    """The kinds under two addresses or more: of the last address there may be one report, and of a response to a scan none."""
    had = Counter(kind for each in contents for kind in each.values)
    return [kind for kind, times in had.items() if times > 1]


def _series(contents: Sequence[Content], kind: str) -> list[list[Change]]:
    return [each.values[kind] for each in contents if kind in each.values]


def _constant(kind: str, series: list[list[Change]]) -> str:
    values = [change.value for changes in series for change in changes]
    if all(value == values[0] for value in values) or _take_turns(series):
        return kind
    if not isinstance(values[0], bytes):
        return ""
    size = min(map(len, values))
    same = [at for at in range(size) if len({value[at] for value in values}) == 1]
    return f"{kind}, {_ranges(same)}" if same else ""


def _take_turns(series: list[list[Change]]) -> bool:
    """Whether one of several values that take turns under an address is there under another one too."""
    per_address = [{*_returning(changes)} for changes in series]
    everywhere = Counter(value for changes in series for value in {change.value for change in changes})
    return any(everywhere[value] > 1 for values in per_address for value in values)


def _returning(changes: Sequence[Change]) -> Iterator[Any]:
    """The values that come back, and are too long to do so by chance: a counter or a measurement is no mark of a device."""
    times = Counter(change.value for change in changes)
    yield from (value for value, often in times.items() if often > 1 and _is_mark(value))


def _is_mark(value: Any) -> bool:
    return bool(value) if isinstance(value, tuple) else isinstance(value, (bytes, str)) and len(value) >= _MARK


def _ranges(places: list[int]) -> str:
    """[0, 1, 4] -> 'bytes 0-1, 4'."""
    groups = itertools.groupby(enumerate(places), key=lambda each: each[1] - each[0])
    runs = [[place for _, place in group] for _, group in groups]
    words = ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)
    return f"{'byte' if len(places) == 1 else 'bytes'} {words}"


# --- counters


def _counts_on(series: list[list[Change]]) -> bool:
    values = [change.value for changes in series for change in changes]
    if not all(isinstance(value, bytes) for value in values):
        return False
    size = min(map(len, values))
    windows = [(at, width) for width in _WIDTHS for at in range(size - width + 1)]
    return any(
        _window_counts(series, at, width, order, sign)
        for at, width in windows
        for order in ("little", "big")
        for sign in (1, -1)
    )


def _window_counts(series: list[list[Change]], at: int, width: int, order: Any, sign: int) -> bool:
    """Whether these bytes are a number that counts, up or down by `sign`, and that the next address takes up where the one before left it."""
    read = [
        [Change(change.at, sign * int.from_bytes(change.value[at : at + width], order)) for change in changes]
        for changes in series
    ]
    span = 1 << 8 * width
    inside = [_risen(a, b, span) for changes in read for a, b in itertools.pairwise(changes) if a.value != b.value]
    across = [(_risen(a[-1], b[0], span), b[0].at - a[-1].at) for a, b in itertools.pairwise(read)]
    if not inside:
        return _steps_alike([risen for risen, _ in across], span)
    if len(inside) < _LEAST_STEPS or max(inside) > span // _SMALL:
        return False
    rate = sum(inside) / max(sum(changes[-1].at - changes[0].at for changes in read), 1e-9)
    allowed = [2 * max(inside) + math.ceil(2 * rate * gap) for _, gap in across]
    goes_on = all(risen <= most for (risen, _), most in zip(across, allowed, strict=True))
    return goes_on and sum(8 * width - math.log2(most + 1) for most in allowed) >= _SURE


def _steps_alike(across: list[int], span: int) -> bool:
    """A number that rises with each address alone, by the same each time."""
    alike = len(set(across)) == 1 and 0 < across[0] <= _SMALL
    return alike and math.log2(span) * len(across) - math.log2(_SMALL) >= 2 * _SURE


def _risen(before: Change, after: Change, span: int) -> int:
    return int(after.value - before.value) % span
