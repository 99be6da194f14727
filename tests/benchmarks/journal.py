"""What it costs to write one event of a run to disk."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import click

from benchrig.record.events import AnyEvent, Closed, Opened, Reading, Where
from benchrig.record.journal import Journal
from benchrig.values.limit import Limit
from tests.benchmarks.timing import best_in_turn

JUDGEMENT = Limit(min="15 °C", max="30 °C").bind("number", "°C").judge(21.5, "plan.yaml:12")
EVENTS: dict[str, AnyEvent] = {
    "start of a step": Opened(Where("3"), 1.5),
    "judged reading": Reading(Where("3"), 1.52, "value", 21.5, "°C", "6608", None, JUDGEMENT),
    "end of a step": Closed(Where("3"), 1.53, 0.03, "pass"),
}


def written_per_second(event: AnyEvent, count: int = 20_000) -> float:
    with tempfile.TemporaryDirectory() as folder, Journal(Path(folder) / "record.jsonl") as journal:
        started = time.process_time()
        for _ in range(count):
            journal.write(event)
        return count / (time.process_time() - started)


def journal(rounds: int = 5) -> None:
    best = best_in_turn(rounds, {name: lambda event=event: written_per_second(event) for name, event in EVENTS.items()})
    listed = ", ".join(f"{name} {1e6 / rate:.1f} µs" for name, rate in best.items())
    click.echo(f"one event to the record, flushed to the system: {listed}")
