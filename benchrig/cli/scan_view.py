"""The live list of devices, and all that is known of one of them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.cli.chart import scale, strip
from benchrig.cli.columns import Column, fitting, laid_out
from benchrig.cli.live import Line
from benchrig.cli.scan_table import BARS, LIVE, age_text, cells, data_text, kind_text, level_bar, seconds_text
from benchrig.desk.airlist import ORDERS, AirList, Heard, HeardDevice, Order, described, payload_fields
from benchrig.report.escape import hex_text

if TYPE_CHECKING:
    from benchrig.steps.attribute import Names

LIST_KEYS = "q quit  up/down choose  enter details  s sort  h hold"
DETAIL_KEYS = "q quit  enter back  up/down scroll  h hold"
# A device unheard for so long stands in pale letters.
GONE = 10.0
_LABEL = 14
_CHART = 4


class ScanView:
    """Draws the list. `clock` tells the time that the reports have."""

    def __init__(
        self,
        air: AirList,
        names: Names,
        clock: Callable[[], float],
        title: str,
        order: Order,
        *,
        ascii_only: bool = False,
    ) -> None:
        self.order = order
        self._air, self._shown = air, air
        self._names, self._clock, self._title, self._ascii = names, clock, title, ascii_only
        self._held_at: float | None = None
        self._chosen = ""
        self._at = self._top = self._scroll = 0
        self._details = False
        self._page = 1
        self._order_now: list[Heard] = []
        self._totals: deque[tuple[float, int]] = deque(maxlen=12)

    # --- keys

    def press(self, key: str) -> bool:
        moves = {"up": -1, "down": 1, "page up": -self._page, "page down": self._page, "home": -(10**6), "end": 10**6}
        if key in moves:
            self._move(moves[key])
        elif key == "enter":
            self._details, self._scroll = not self._details and bool(self._order_now), 0
            self._choose(self._at)
        elif key in ("escape", "back"):
            self._details = False
        elif key == "s":
            self.order = ORDERS[(ORDERS.index(self.order) + 1) % len(ORDERS)]
        elif key == "h":
            self._hold()
        return key != "q"

    def _move(self, by: int) -> None:
        if self._details:
            self._scroll = max(0, self._scroll + by)
        else:
            # the first key shows where the mark is
            self._choose(self._at + by if self._chosen else self._at)

    def _choose(self, at: int) -> None:
        if self._order_now:
            self._at = min(max(0, at), len(self._order_now) - 1)
            self._chosen = self._order_now[self._at].identity

    def _follow(self) -> None:
        """The mark stays with its device; where that is gone, its details are too."""
        found = next((n for n, row in enumerate(self._order_now) if row.identity == self._chosen), None)
        self._details = self._details and found is not None
        self._at = min(self._at, max(0, len(self._order_now) - 1)) if found is None else found

    def _hold(self) -> None:
        """What is shown stands still, or goes on; what is heard is heard all the same."""
        if self._held_at is None:
            self._held_at, self._shown = self._clock(), self._air.copy()
        else:
            self._held_at, self._shown = None, self._air

    # --- what is shown

    def lines(self, width: int, height: int) -> list[Line]:
        now = self._clock()
        at = now if self._held_at is None else self._held_at
        self._order_now = self._shown.ordered(self.order, at)
        self._follow()
        self._page = max(1, height - 3)
        body = self._detail_lines(at, width) if self._details and self._order_now else self._list_lines(at, width)
        keys = DETAIL_KEYS if self._details else LIST_KEYS
        head = self._head(now)
        body = body[: max(0, height - 2)]
        return [head, *body, *[[("", "")]] * (height - 2 - len(body)), [(keys, "dim")]]

    def _head(self, now: float) -> Line:
        count, others = len(self._order_now), len(self._shown.heard) - len(self._order_now)
        heard = f"{count} device{'' if count == 1 else 's'}" + (f", {others} others" if others else "")
        held = [("  HELD", "warn")] if self._held_at is not None else []
        return [(self._title, "bold"), (f"  {heard}, {self._pace(now):,.0f} reports/s, by {self.order}", ""), *held]

    def _pace(self, now: float) -> float:
        """Reports a second of all devices, over the last redraws."""
        self._totals.append((now, self._air.total))
        (first, before), (last, total) = self._totals[0], self._totals[-1]
        return (total - before) / (last - first) if last > first else 0.0

    def _list_lines(self, now: float, width: int) -> list[Line]:
        rows = self._page
        self._top = max(0, min(max(self._top, self._at - rows + 1), self._at, len(self._order_now) - rows))
        shown = self._order_now[self._top :][:rows]
        devices = [described(row, now) for row in shown]
        texts = [[*map(cells(device, self._names, ascii_only=self._ascii).__getitem__, LIVE)] for device in devices]
        columns = fitting(LIVE, width - 2, texts)
        heading = laid_out(columns, [column.heading for column, _ in columns], ascii_only=self._ascii)
        lines: list[Line] = [[("  " + heading, "bold")]]
        for row, device, line in zip(shown, devices, texts, strict=True):
            lines.append(self._row(columns, line, chosen=row.identity == self._chosen, gone=device.age >= GONE))
        return lines

    def _row(self, columns: list[tuple[Column, int]], texts: list[str], *, chosen: bool, gone: bool) -> Line:
        kept = {column for column, _ in columns}
        line = laid_out(
            columns, [text for column, text in zip(LIVE, texts, strict=True) if column in kept], ascii_only=self._ascii
        )
        if chosen or gone:
            return [(f"{'>' if chosen else ' '} {line}", "reverse" if chosen else "dim")]
        before, bar, after = line.partition(texts[LIVE.index(BARS)])
        return [(f"  {before}", ""), (bar, "good"), (after, "")]

    def _detail_lines(self, now: float, width: int) -> list[Line]:
        row = self._order_now[self._at]
        lines = [
            *_facts(row, now, self._names, self._ascii),
            *self._level_lines(row, width),
            *_payload_lines(row, self._names),
        ]
        self._scroll = min(self._scroll, max(0, len(lines) - self._page - 1))
        return lines[self._scroll :]

    def _level_lines(self, row: Heard, width: int) -> list[Line]:
        levels = list(row.sighting.rssi)[-max(1, width - _LABEL) :]
        drawn = strip(levels, _CHART, ascii_only=self._ascii)
        marks = scale(f"{min(levels)} dBm", f"{max(levels)} dBm", _CHART)
        return [[(f"{mark:>{_LABEL - 1}} ", "dim"), (line, "good")] for mark, line in zip(marks, drawn, strict=True)]


def _facts(row: Heard, now: float, names: Names, ascii_only: bool) -> list[Line]:
    """The device in words."""
    device = described(row, now)
    said = device.advertising
    spread = "" if device.spread is None else f", spread {device.spread:.1f} dB"
    rate = "" if device.rate is None else f", {device.rate:.1f} a second"
    facts = {
        "name": said.name or "(no name)",
        "address": f"{device.address}  {kind_text(device)}",
        "addresses": ", ".join(device.addresses),
        "level": f"{row.sighting.rssi[-1]} dBm, median {device.level:g} dBm{spread}  {level_bar(device.level, ascii_only=ascii_only)}",
        "reports": f"{device.count}{rate}, every {seconds_text(said.interval)}" if said.interval else f"{device.count}",
        "last heard": f"{age_text(device.age)} ago",
        "connectable": {True: "yes", False: "no", None: ""}[said.connectable],
        "tx power": "" if said.tx_power is None else f"{said.tx_power} dBm",
    }
    return [_fact(label, text) for label, text in facts.items() if text]


def _payload_lines(row: Heard, names: Names) -> list[Line]:
    """What it sends, field by field; where the radio tells no payload, what it says of it."""
    fields = payload_fields(row.sighting)
    if not fields:
        return _said_lines(described(row, 0.0), names)
    lines: list[Line] = []
    for number, (where, each) in enumerate(fields):
        if number == 0 or fields[number - 1][0] != where:
            lines.append([(where, "bold")])
        raw = hex_text(each.raw.hex().upper())
        said = each.wrong or each.text
        lines.append(
            [(f"{each.offset:>4}  ", "dim"), (f"{each.name or f'type 0x{each.type:02X}'}: ", ""),
             (said, "bad" if each.wrong else ""), (f"  [{raw}]", "dim")]
        )  # fmt: skip
    return lines


def _said_lines(device: HeardDevice, names: Names) -> list[Line]:
    said = device.advertising
    services = [_fact("service", names.label(uuid, "service")) for uuid in said.services]
    data = data_text(said.manufacturer_data, said.service_data, names)
    return [*services, *[_fact("data", part) for part in data.split("; ") if part]]


def _fact(label: str, text: str) -> Line:
    return [(f"{label:<{_LABEL}}", "dim"), (text, "")]
