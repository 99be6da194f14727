"""One run from options to files: folder, journal, event loop, signals, reports."""

from __future__ import annotations

import asyncio
import contextlib
import re
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from benchrig.console.choice import ConsoleChoice
from benchrig.console.log import Keeping
from benchrig.errors import InternalError, StationError
from benchrig.files import cannot_write, write_whole
from benchrig.loop import attended_loop, in_loop
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.specify import RadioChoice, loop_factory, radio_opener
from benchrig.record.aggregate import build_record
from benchrig.record.journal import Journal
from benchrig.record.model import AnyEvent, Closed, Opened, Reading, Record
from benchrig.record.rounds import RoundLog
from benchrig.record.secrets import Secrets
from benchrig.report.index import IndexLine
from benchrig.report.registry import ReportChoice, all_reports
from benchrig.run.head import RunSettings, given_serial, narrowed
from benchrig.run.runner import Runner
from benchrig.run.station import Station
from benchrig.steps.bench import Operator


@dataclass(frozen=True)
class RunOptions:
    """Everything a run needs to know beside its operator. `device` narrows the selections of
    the plan to names or addresses: DEVICE, and NAME=DEVICE in a plan with several."""

    plan: Plan
    nodes: Sequence[StepPlan]
    station: Station
    radio: RadioChoice
    results: Path
    seed: int = 0
    real_time: bool = False
    capture: Path | None = None
    acknowledged: bool = False
    reports: tuple[ReportChoice, ...] = field(default_factory=all_reports)
    device: tuple[str, ...] = ()
    may_lack: frozenset[str] = frozenset()
    console: ConsoleChoice | None = None

    @property
    def has_wire(self) -> bool:
        """Whether something beside the radio takes its own time."""
        return self.station.wiring(self.console).console is not None


@dataclass(frozen=True)
class Finished:
    """A run that is over: its record, the folder that holds it, and what kept record or reports from being written."""

    # left out of the text: asyncio makes that of its main task's result when it takes back its signal handler
    record: Record = field(repr=False)
    folder: Path
    troubles: tuple[StationError, ...] = ()
    index_trouble: str = ""  # why the index lacks this run, which changes nothing about the run


@dataclass
class _Events:
    """Keeps each event of a run, writes it to the journal and shows it. A journal that can no longer be written does
    not end the run, whose clean-up is due all the same: `blame` is told once, and the lines wait for room.

    What a step measured, that it began and that it passed is on disk before the run waits for anything: the lines of a
    short step go there together. All else is there at once, as is the state of a stream, and all that comes from the
    steps in `foreign`, which run code that may keep the loop busy or end the process."""

    journal: Journal
    viewers: list[Callable[[AnyEvent], None]]
    blame: Callable[[StationError], None]
    secrets: Secrets | None = None
    foreign: frozenset[str] = frozenset()
    kept: list[AnyEvent] = field(default_factory=list)
    trouble: StationError | None = None
    _waiting: list[AnyEvent] = field(default_factory=list)
    _rounds: RoundLog = field(default_factory=RoundLog)
    _is_due: bool = False
    # a function of the plan gives its readings from a thread, while the loop writes what waits
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def __call__(self, event: AnyEvent) -> None:
        if self.secrets is not None:
            event = self.secrets.masked(event)
        with self._lock:
            self._keep(event)
        for viewer in [*self.viewers]:
            try:
                viewer(event)
            except OSError:
                self.viewers.remove(viewer)  # a terminal that is gone shows nothing any more

    def _keep(self, event: AnyEvent) -> None:
        self.kept.append(event)
        self._waiting.append(event)
        if self._may_wait(event):
            self._write_soon()
        else:
            self.write()
        if self._rounds.is_due(event, len(self.kept)):
            self._thin()

    def _thin(self) -> None:
        """Rounds that need not stay leave memory, and disk when there is room to write the others anew."""
        left = self._rounds.thinned(self.kept)
        if len(left) < len(self.kept):
            self.kept = left
            with contextlib.suppress(StationError):
                self.journal.rewrite(left)
                self._waiting = []

    def _may_wait(self, event: AnyEvent) -> bool:
        match event:
            case Opened() | Reading(partial=False) | Closed(verdict="pass"):
                return event.where.node not in self.foreign
        return False

    def _write_soon(self) -> None:
        if not self._is_due:
            self._is_due = True
            asyncio.get_running_loop().call_soon(self._now)

    def _now(self) -> None:
        self._is_due = False
        with self._lock:
            self.write()

    def write(self) -> None:
        """Whatever waits, as far as there is room for it."""
        waiting, self._waiting = self._waiting, []
        try:
            if waiting:
                self.journal.write(*waiting)
        except StationError as error:
            self._waiting = waiting + self._waiting
            self._write_singly()
            if self.trouble is None:
                self.trouble = error
                self.blame(error)

    def _write_singly(self) -> None:
        with contextlib.suppress(StationError):
            while self._waiting:
                self.journal.write(self._waiting[0])
                del self._waiting[0]


def launch(options: RunOptions, operator: Operator, listeners: Sequence[Callable[[AnyEvent], None]] = ()) -> Finished:
    """Run the plan. Raises PlanError for bad device files and StationError when no results can be written; whatever
    happens after the run has begun is its verdict."""
    secrets = options.plan.secrets()
    hide = secrets.line if secrets else lambda text: text

    def keeping() -> Keeping:
        return Keeping(folder, runner.began, hide)

    opener = radio_opener(
        options.radio, seed=options.seed, capture=options.capture, keeping=keeping, station=options.station.station
    )
    opener = options.station.wiring(options.console).around(opener, keeping)
    folder = _make_folder(options)
    settings = RunSettings(
        station=options.station,
        radio=str(options.radio),
        simulated=options.radio.simulated,
        folder=folder,
        seed=options.seed if options.radio.simulated else None,
        acknowledged=options.acknowledged,
        devices=narrowed(options.plan, options.device),
        may_lack=options.may_lack,
    )
    factory = loop_factory(options.radio, real_time=options.real_time or options.has_wire)
    with Journal(folder / "record.jsonl") as journal, IndexLine(folder) as line:
        foreign = frozenset(step.id for step in every_step(options.nodes) if step.kind.executes)
        events = _Events(journal, [*listeners], lambda error: runner.blame(error), secrets, foreign)
        learn = secrets.learn if secrets else lambda text: None
        runner = Runner(options.plan, options.nodes, settings, opener, operator, events, learn)
        try:
            return in_loop(_to_reports(runner, events, options, line), factory)
        finally:
            events.write()  # of a run that broke down


async def _to_reports(runner: Runner, events: _Events, options: RunOptions, line: IndexLine) -> Finished:
    """The run up to its reports, all in its loop: what a function of the plan left running must not keep them."""
    with attended_loop(runner.interrupt, lambda error: runner.blame(_stray(error))):
        await runner.run()
    record, folder = build_record(events.kept), runner.settings.folder
    gone = events.journal.missing()
    troubles = _write_reports(record, options, None if gone else folder)
    line.write(record)
    return Finished(record, folder, (*filter(None, (events.trouble, gone)), *troubles), line.trouble)


def _stray(error: str) -> InternalError:
    return InternalError(f"an error was raised where nobody waited for it: {error}")


def _make_folder(options: RunOptions) -> Path:
    """A new folder 'time-plan-serial' below the results folder; the serial number where the run was given one."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
    plan = options.plan
    slug = "-".join(filter(None, (_slug(plan.name) or "plan", _slug(given_serial(plan)))))
    for count in range(1, 1000):
        folder = options.results / (f"{stamp}-{slug}" + (f"-{count}" if count > 1 else ""))
        try:
            folder.mkdir(parents=True)
        except FileExistsError:
            continue
        except OSError as exc:
            raise cannot_write(folder, exc, "choose another place with --results") from exc
        return folder
    raise StationError(f"no folder for the results could be made in {options.results}")


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40]


def _write_reports(record: Record, options: RunOptions, folder: Path | None) -> list[StationError]:
    """Write every report that can be written; why the others could not. The run's own folder is None when it is gone:
    made anew, without its record, it would be that of no run."""
    troubles = []
    for choice in options.reports:
        data = choice.render(record)
        for path in (choice.file, folder and folder / choice.report.file_name):
            try:
                if path is not None:
                    write_whole(path, data)
            except StationError as error:
                troubles.append(error)
    return troubles
