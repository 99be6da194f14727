"""Questions to a history, in CPU seconds: readings, a yield, a capability, one unit's life, a page of all, and how they grow
with it."""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import click

from benchrig.figures.capability import capability_figure
from benchrig.figures.chart import chart_figure
from benchrig.figures.yields import yields_of
from benchrig.history.adding import add_entries
from benchrig.history.entry import Entry
from benchrig.history.opening import History, open_history
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.life import life_of
from benchrig.history.questions.values import all_values, values_of
from benchrig.pages.whole_set import page_of_set
from tests.history.questions.kit import entry

SMALL, LARGE = 10_000, 100_000
READINGS = [f"step {number}.value" for number in range(30)]
AIMS = {
    "one reading": 0.2,
    "all readings": 2.5,
    "yield by day": 2.5,
    "one unit's life": 0.05,
    "capability and chart": 1.0,
    "the page of a set": 10.0,
}
AIM_OF_GROWTH = 1.5
ROUNDS = 3
ON = datetime(2026, 11, 27, tzinfo=UTC)
BATCH = 2000


def made(folder: Path, count: int) -> History:
    """A history of so many runs with all readings: 4 % fail, 3 % are tests of a unit that was there before."""
    history, chance = open_history(folder / f"{count}.sqlite", make=True), random.Random(1)
    for begin in range(0, count, BATCH):
        add_entries(history, [a_run(number, chance) for number in range(begin, min(begin + BATCH, count))])
    return history


def a_run(number: int, chance: random.Random) -> Entry:
    fails, again = chance.random() < 0.04, chance.random() < 0.03
    return entry(
        number,
        unit=f"U{max(0, number - 3 * again)}",
        minutes=number / 2,
        verdict="fail" if fails else "pass",
        step=f"step {chance.randrange(30)}" if fails else "",
        reading="value" if fails else "",
        station=f"line {number % 4}",
        firmware=f"1.{number // 30_000}",
        readings={name: chance.gauss(5, 1) for name in READINGS},
    )


def asked(history: History) -> dict[str, Callable[[], object]]:
    return {
        "one reading": lambda: values_of(history, READINGS[7], Filters()),
        "all readings": lambda: sum(len(each) for each in all_values(history, Filters())),
        "yield by day": lambda: yields_of(history, Filters(), ["day", "station"]),
        "one unit's life": lambda: life_of(history, "U777", with_readings=True),
        "capability and chart": lambda: _figures(history),
        "the page of a set": lambda: page_of_set(history, Filters(), Path("runs.html"), ON),
    }


def _figures(history: History) -> None:
    values = values_of(history, READINGS[7], Filters())
    capability_figure(values)
    chart_figure(values)


def seconds(work: Callable[[], object]) -> float:
    """CPU seconds, the best of some rounds."""
    best = float("inf")
    for _ in range(ROUNDS):
        began = time.process_time()
        work()
        best = min(best, time.process_time() - began)
    return best


def questions(count: int = LARGE) -> None:
    with tempfile.TemporaryDirectory() as name, made(Path(name), SMALL) as small, made(Path(name), count) as large:
        few, many = ({what: seconds(work) for what, work in asked(each).items()} for each in (small, large))
    click.echo(
        f"a history of {count:,} runs with {len(READINGS)} readings each, and growth from {SMALL:,} by {count // SMALL}:"
    )
    for what, aim in AIMS.items():
        growth = many[what] / few[what] / (count / SMALL)
        click.echo(
            f"  {what}: {1000 * many[what]:,.0f} ms of CPU (aim ≤ {1000 * aim:g}), a run costs {growth:.2f} times as much "
            f"(aim ≤ {AIM_OF_GROWTH})"
        )
