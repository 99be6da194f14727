"""One run from options to files: folder, journal, event loop, signals, reports."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from benchrig.errors import StationError, UsageError
from benchrig.plan.model import Plan, StepPlan
from benchrig.radio.specify import RadioChoice, loop_factory, radio_opener
from benchrig.record.aggregate import build_record
from benchrig.record.journal import Journal
from benchrig.record.model import AnyEvent, Record
from benchrig.report.junit import junit_xml
from benchrig.report.readings_csv import csv_text
from benchrig.run.loop import attended_loop
from benchrig.run.runner import Runner, RunSettings
from benchrig.run.station import Station
from benchrig.steps.bench import Operator


@dataclass(frozen=True)
class RunOptions:
    """Everything a run needs to know beside its operator. `device` narrows the plan's selection to one name or address."""

    plan: Plan
    steps: Sequence[StepPlan]
    station: Station
    radio: RadioChoice
    results: Path
    seed: int = 0
    real_time: bool = False
    capture: Path | None = None
    acknowledged: bool = False
    junit: Path | None = None
    junit_dialect: Literal["junit-10", "ant"] = "junit-10"
    csv: Path | None = None
    device: str = ""


@dataclass(frozen=True)
class Finished:
    """A run that is over: its record, the folder that holds it, and what kept a report from being written."""

    record: Record
    folder: Path
    trouble: StationError | None = None


@dataclass
class _Events:
    """Passes each event to the listeners and keeps it."""

    listeners: list[Callable[[AnyEvent], None]]
    viewers: list[Callable[[AnyEvent], None]]
    kept: list[AnyEvent] = field(default_factory=list)

    def __call__(self, event: AnyEvent) -> None:
        self.kept.append(event)
        for listener in self.listeners:
            listener(event)
        for viewer in [*self.viewers]:
            try:
                viewer(event)
            except OSError:
                self.viewers.remove(viewer)  # a terminal that is gone shows nothing any more


def run_session(
    options: RunOptions, operator: Operator, listeners: Sequence[Callable[[AnyEvent], None]] = ()
) -> Finished:
    """Run the plan. Raises PlanError for bad device files and StationError when no results can be written; whatever
    happens after the run has begun is its verdict."""
    opener = radio_opener(options.radio, seed=options.seed, capture=options.capture, folder=lambda: folder)
    folder = _make_folder(options)
    settings = RunSettings(
        station=options.station,
        radio=str(options.radio),
        simulated=options.radio.simulated,
        folder=folder,
        seed=options.seed if options.radio.simulated else None,
        acknowledged=options.acknowledged,
        device=options.device,
    )
    with Journal(folder / "record.jsonl") as journal:
        events = _Events([journal.write], [*listeners])
        runner = Runner(options.plan, options.steps, settings, opener, operator, events)
        factory = loop_factory(options.radio, real_time=options.real_time)
        with asyncio.Runner(loop_factory=factory) as loop_runner:
            loop_runner.run(_run(runner))
    record = build_record(events.kept)
    try:
        _write_reports(record, options, folder)
    except StationError as trouble:
        return Finished(record, folder, trouble)  # the verdict stands, and has to be said
    return Finished(record, folder)


def make_way(path: Path | None) -> None:
    """Take an older report from its place and see that a new one can be written there: a run that ends early must
    not leave yesterday's behind. UsageError when it cannot, before anything is run."""
    if path is None:
        return
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("ab"):
            pass
        if path.is_file():
            path.unlink()
    except OSError as exc:
        raise UsageError(f"{path} cannot be written: {exc.strerror or exc}", advice="give another file") from exc


async def _run(runner: Runner) -> None:
    with attended_loop(runner.interrupt):
        await runner.run()


def _make_folder(options: RunOptions) -> Path:
    """A new folder 'time-plan' below the results folder."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
    slug = re.sub(r"[^a-z0-9]+", "-", options.plan.name.lower()).strip("-")[:40] or "plan"
    for count in range(1, 1000):
        folder = options.results / (f"{stamp}-{slug}" + (f"-{count}" if count > 1 else ""))
        try:
            folder.mkdir(parents=True)
        except FileExistsError:
            continue
        except OSError as exc:
            raise _cannot_write(folder, exc) from exc
        return folder
    raise StationError(f"no folder for the results could be made in {options.results}")


def _write_reports(record: Record, options: RunOptions, folder: Path) -> None:
    junit = junit_xml(record, dialect=options.junit_dialect)
    readings = csv_text(record).encode()
    for path, data in (
        (folder / "junit.xml", junit),
        (options.junit, junit),
        (folder / "readings.csv", readings),
        (options.csv, readings),
    ):
        if path is not None:
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(data)
            except OSError as exc:
                raise _cannot_write(path, exc) from exc


def _cannot_write(path: Path, exc: OSError) -> StationError:
    return StationError(
        f"{path} cannot be written: {exc.strerror or exc}", advice="choose another place with --results"
    )
