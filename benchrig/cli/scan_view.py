"""The live list of devices, and all that is known of one of them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.cli.scan_details import detail_lines
from benchrig.cli.scan_table import LIVE, cells, level_bar
from benchrig.desk.airlist import ORDERS, AirList, AirRow, HeardDevice, SortOrder, described
from benchrig.source.problem import counted
from benchrig.terminal.live import key_line
from benchrig.text.columns import fitting, table_lines
from benchrig.text.wrapping import Line

if TYPE_CHECKING:
    from benchrig.steps.attribute import Names

_QUIT, _HOLD, _PAGES = ("q", "quit"), ("h", "hold"), ("pgup/pgdn/home/end", "")
LIST_KEYS = (_QUIT, ("up/down", "choose"), _PAGES, ("enter", "details"), ("/", "filter"), ("s", "sort"), _HOLD)
DETAIL_KEYS = (_QUIT, ("enter", "back"), ("up/down", "scroll"), _PAGES, _HOLD)
FILTER_KEYS = (("enter", "keep the filter"), ("esc", "all devices"))
# A device unheard for so long stands in pale letters.
GONE = 10.0


class ScanView:
    """Draws the list. `clock` tells the time that the reports have."""

    def __init__(self, air: AirList, names: Names, clock: Callable[[], float], title: str, order: SortOrder, *,
                 ascii_only: bool = False) -> None:  # fmt: skip
        self.order = order
        self._air, self._shown = air, air
        self._names, self._clock, self._title, self._ascii = names, clock, title, ascii_only
        self._held_at: float | None = None
        self._chosen = ""
        self._at = self._top = self._scroll = 0
        self._details = self._typing = False
        self._filter = ""
        self._page = 1
        self._order_now: list[AirRow] = []
        self._totals: deque[tuple[float, int]] = deque(maxlen=12)

    # --- keys

    def press(self, key: str) -> bool:
        moves = {"up": -1, "down": 1, "page up": -self._page, "page down": self._page, "home": -(10**6), "end": 10**6}
        if key in moves:
            self._move(moves[key])
        elif self._typing:
            self._type(key)
        else:
            return self._command(key)
        return True

    def _command(self, key: str) -> bool:
        if key == "enter":
            self._details, self._scroll = not self._details and bool(self._order_now), 0
            self._choose(self._at)
        elif key in ("escape", "back"):
            self._filter = self._filter if self._details else ""
            self._details = False
        elif key == "/":
            self._details, self._typing = False, True
        elif key == "s":
            self.order = ORDERS[(ORDERS.index(self.order) + 1) % len(ORDERS)]
        elif key == "h":
            self._hold()
        return key != "q"

    def _type(self, key: str) -> None:
        """A key while the filter is typed."""
        if key in ("enter", "escape"):
            self._typing = False
            self._filter = self._filter if key == "enter" else ""
        elif key == "back":
            self._filter = self._filter[:-1]
        elif len(key) == 1 and key.isprintable():
            self._filter += key

    def _move(self, by: int) -> None:
        if self._details:
            self._scroll = max(0, self._scroll + by)
        else:
            # the first step shows where the mark is
            self._choose(self._at + by if self._chosen or abs(by) > 1 else self._at)

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
        self._order_now = [row for row in self._shown.ordered(self.order, at) if self._passes(row)]
        self._follow()
        room = max(0, height - 2)
        show = self._detail_lines if self._details and self._order_now else self._list_lines
        body = show(at, width, room)[:room]
        return [self._head(now), *body, *[[("", "")]] * (height - 2 - len(body)), [(self._foot(width), "dim")]]

    def _passes(self, row: AirRow) -> bool:
        """Whether the typed filter lets a device through: part of its name or of its address."""
        wanted = self._filter.casefold()
        return wanted in row.sighting.name.casefold() or wanted in row.sighting.address.casefold()

    def _foot(self, width: int) -> str:
        if self._typing:
            typed = f"filter by name: {self._filter}_"
            return f"{typed}  {key_line(FILTER_KEYS, max(0, width - len(typed) - 2))}"
        return key_line(DETAIL_KEYS if self._details else LIST_KEYS, width)

    def _head(self, now: float) -> Line:
        shown, hidden = len(self._order_now), len(self._shown.heard) - len(self._order_now)
        heard = f"{shown} shown, {hidden} hidden" if hidden else counted(shown, "device")
        # first what the person has done to the list: a narrow screen cuts the rest
        held = [("HELD  ", "warn")] if self._held_at is not None else []
        kept = [(f"filter '{self._filter}'  ", "warn")] if self._filter and not self._typing else []
        pace = f"  {heard}, {self._pace(now):,.0f} reports/s, by {self.order}"
        return [*held, *kept, (self._title, "bold"), (pace, "")]

    def _pace(self, now: float) -> float:
        """Reports a second of all devices, over the last redraws."""
        self._totals.append((now, self._air.total))
        (first, before), (last, total) = self._totals[0], self._totals[-1]
        return (total - before) / (last - first) if last > first else 0.0

    def _list_lines(self, now: float, width: int, room: int) -> list[Line]:
        """The heading, the devices, and how many more there are where they do not all have room."""
        rows = self._page = max(1, room - 1 if len(self._order_now) < room else room - 2)
        self._top = max(0, min(max(self._top, self._at - rows + 1), self._at, len(self._order_now) - rows))
        shown = self._order_now[self._top :][:rows]
        devices = [described(row, now) for row in shown]
        texts = [[*map(cells(device, self._names, ascii_only=self._ascii).__getitem__, LIVE)] for device in devices]
        heading, *lines = table_lines(fitting(LIVE, width - 2, texts), LIVE, texts, ascii_only=self._ascii)
        drawn = [self._row(*each) for each in zip(lines, shown, devices, strict=True)]
        more = _more(self._top, len(self._order_now) - self._top - len(shown))
        return [[("  " + heading, "bold")], *drawn, *more]

    def _row(self, line: str, row: AirRow, device: HeardDevice) -> Line:
        chosen = row.identity == self._chosen
        if chosen or device.age >= GONE:
            return [(f"{'>' if chosen else ' '} {line}", "reverse" if chosen else "dim")]
        before, bar, after = line.partition(level_bar(device.rssi, ascii_only=self._ascii))
        return [(f"  {before}", ""), (bar, "good"), (after, "")]

    def _detail_lines(self, now: float, width: int, room: int) -> list[Line]:
        row = self._order_now[self._at]
        lines = detail_lines(row, now, self._names, width, ascii_only=self._ascii)
        rows = self._page = max(1, room if len(lines) <= room else room - 1)
        self._scroll = min(self._scroll, max(0, len(lines) - rows))
        shown = lines[self._scroll :][:rows]
        return [*shown, *_more(self._scroll, len(lines) - self._scroll - len(shown))]


def _more(above: int, below: int) -> list[Line]:
    """What is out of sight."""
    parts = [f"{count} more {where}" for count, where in ((above, "above"), (below, "below")) if count]
    return [[(f"  {', '.join(parts)}", "warn")]] if parts else []
