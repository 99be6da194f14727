"""A line of some days: runs with three readings, two firmware revisions, units that fail, and a page of each run."""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from benchrig.history.entry import Entry
from benchrig.history.opening import History
from tests.history.questions.kit import entry, history_of

ON = datetime(2026, 11, 27, 12, 30, tzinfo=UTC)
HIGH = 10.0


def line(count: int = 40, *, name: str = "read voltage", unit: str = "VF-{}", **head: Any) -> list[Entry]:
    """Every eighth run fails of its voltage, and the unit of each ninth is tested again."""
    chance = random.Random(7)
    return [_run(n, chance, name, unit, head) for n in range(count)]


def _run(n: int, chance: random.Random, name: str, unit: str, head: dict[str, Any]) -> Entry:
    failed = n % 8 == 5
    firmware = "1.0" if n < 20 else "1.1"
    readings = {
        f"{name}.value": 11.5 if failed else chance.gauss(5.0, 0.2),
        "read level.value": float(chance.randrange(90, 97)) / 10,
        "scan.rssi": chance.gauss(4.0 if n < 20 else 6.0, 0.3),
    }
    ended = {"verdict": "fail", "step": name, "reading": "value"} if failed else {}
    tested = n - 1 if n % 9 == 6 else n
    return entry(n, unit=unit.format(tested), minutes=n * 180, readings=readings, firmware=firmware, **(ended | head))


@contextmanager
def a_line(folder: Path, entries: list[Entry]) -> Iterator[History]:
    for each in entries:
        run = folder / each.run["folder"]
        run.mkdir(parents=True, exist_ok=True)
        (run / "report.html").write_text("a run", "utf-8")
    with history_of(folder, entries) as history:
        yield history


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Plots are empty, for what is not about them: to draw them takes most of the time of a page."""
    empty = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'
    monkeypatch.setattr("benchrig.html.plots._drawn", lambda *_: empty)
