"""Records into a history: CPU seconds to read and to add one with 30 readings, and how adding grows with the history."""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from benchrig.history.adding import add_entries
from benchrig.history.entry import Entry
from benchrig.history.folders import BATCH, loaded
from benchrig.history.opening import History, open_history
from tests.benchmarks.questions import LARGE, SMALL, a_run
from tests.history.folders import end_of_line, write

RECORDS = 1000
AIM = 1000
AIM_OF_GROWTH = 1.5


def read(folder: Path) -> tuple[list[Entry], float]:
    chance = random.Random(1)
    places = [
        write(folder / f"{n}", end_of_line(n, values=[chance.gauss(5, 1) for _ in range(30)])) for n in range(RECORDS)
    ]
    began = time.process_time()
    entries = [each.entry for each in (loaded(place, str) for place in places) if each.entry]
    return entries, (time.process_time() - began) / RECORDS


def added(history: History, entries: Sequence[Entry]) -> float:
    """CPU seconds an entry, in batches as a command has them."""
    began = time.process_time()
    for at in range(0, len(entries), BATCH):
        add_entries(history, entries[at : at + BATCH])
    return (time.process_time() - began) / len(entries)


def grown(folder: Path) -> Iterator[float]:
    """What adding costs when the history has so many runs."""
    chance, count = random.Random(2), 0
    with open_history(folder / "grown.sqlite", make=True) as history:
        for size in (SMALL, LARGE):
            while count < size - RECORDS:
                add_entries(history, [a_run(n, chance) for n in range(count, count + RECORDS)])
                count += RECORDS
            yield added(history, [a_run(n, chance) for n in range(count, count + RECORDS)])
            count += RECORDS


def filling() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        entries, reading = read(folder / "results")
        with open_history(folder / "history.sqlite", make=True) as history:
            adding = added(history, entries)
        rate = 2 / (reading + adding)
        click.echo(
            f"a record of 30 readings into a history: read {1000 * reading:.2f} ms, added {1000 * adding:.2f} ms CPU; on two "
            f"processors {rate:,.0f} records/s (aim ≥ {AIM})"
        )
        small, large = grown(folder)
        click.echo(
            f"added to {SMALL:,} runs {1000 * small:.2f} ms, to {LARGE:,} runs {1000 * large:.2f} ms, ratio {large / small:.2f} "
            f"(aim ≤ {AIM_OF_GROWTH})"
        )
