"""One run from options to files: folder, journal, event loop, signals, reports."""

from __future__ import annotations

import contextlib
import logging
import re
import tempfile
from collections.abc import Awaitable, Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from benchrig.console.choice import ConsoleChoice
from benchrig.console.log import Keeping
from benchrig.errors import BenchrigError, InternalError, StationError
from benchrig.files import cannot_write, write_whole
from benchrig.history.choosing import chosen_place
from benchrig.history.delivery import Delivery
from benchrig.history.place import Place
from benchrig.loop import Factory, attended_loop, in_loop
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.specify import RadioChoice, loop_factory, radio_opener
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent
from benchrig.record.journal import Journal
from benchrig.record.keeping import Events
from benchrig.record.line_part import LinePart
from benchrig.record.model import Record
from benchrig.record.secrets import Secrets
from benchrig.record.study_part import StudyPart
from benchrig.report.brought import all_reports, allowed
from benchrig.report.index import IndexLine
from benchrig.report.registry import ReportChoice
from benchrig.run.head import RunSettings, given_serial, narrowed
from benchrig.run.runner import Opener, Runner
from benchrig.run.walk import Pace
from benchrig.station.station import Station
from benchrig.steps.bench import Operator

_log = logging.getLogger(__name__)

# The most characters of a name in that of a folder.
_SLUG = 40


@dataclass(frozen=True)
class RunOptions:
    """Everything a run needs to know beside its operator. `device` narrows the selections of
    the plan to names or addresses: DEVICE, and NAME=DEVICE in a plan with several. Without `results` a run leaves nothing
    on disk. `opener` gives a radio that somebody else has opened, in place of that of `radio`; `last_check` looks at the
    record before the verdict is said, and gives what is wrong with the unit beside all steps."""

    plan: Plan
    nodes: Sequence[StepPlan]
    station: Station
    radio: RadioChoice
    results: Path | None
    seed: int = 0
    real_time: bool = False
    capture: Path | None = None
    acknowledged: bool = False
    reports: tuple[ReportChoice, ...] = field(default_factory=all_reports)
    device: tuple[str, ...] = ()
    may_lack: frozenset[str] = frozenset()
    keep_samples: int = 0
    console: ConsoleChoice | None = None
    study: StudyPart | None = None
    history: str = ""  # "" for that of the station file, the environment or the results folder
    line: LinePart | None = None
    opener: Opener | None = None
    last_check: Callable[[Record], Awaitable[BenchrigError | None]] | None = None

    @property
    def has_wire(self) -> bool:
        """Whether something beside the radio takes its own time."""
        return self.station.wiring(self.console).console is not None


@dataclass(frozen=True)
class Finished:
    """A run that is over: its record, the folder that holds it (gone with the run, where nothing was to be left), and what
    kept record or reports from being written."""

    # left out of the text: asyncio makes that of its main task's result when it takes back its signal handler
    record: Record = field(repr=False)
    folder: Path
    troubles: tuple[StationError, ...] = ()
    lacks: tuple[str, ...] = ()  # why index or page lack this run, which changes nothing about the run
    delivery: Delivery | None = field(default=None, repr=False)

    def deliver(self) -> str:
        """Bring the run into its history, if it has one, when the verdict is told. What could not be done now, in a line."""
        return self.delivery.deliver() if self.delivery is not None else ""


@dataclass(frozen=True)
class PreparedRun:
    """A run that can begin. It is carried out once, in the loop of whoever does that."""

    options: RunOptions
    runner: Runner
    events: Events
    line: IndexLine | None
    delivery: Delivery | None = None

    @property
    def loop_factory(self) -> Factory | None:
        """What makes the loop that its clock is that of; None for an ordinary one."""
        options = self.options
        return loop_factory(options.radio, real_time=options.real_time or options.has_wire)

    def interrupt(self) -> None:
        """See Runner.interrupt. Inside the loop of the run."""
        self.runner.interrupt()

    def stray(self, error: str) -> None:
        """An error was raised where nobody waited for it."""
        self.runner.blame(InternalError(f"an error was raised where nobody waited for it: {error}"))

    async def run(self) -> Finished:
        """To its reports. Signals and the errors that nobody waits for are the caller's."""
        await self.runner.run()
        return self.reported()

    async def attended(self) -> Finished:
        """The same, with both: what a function of the plan left running must not keep the reports."""
        with attended_loop(self.interrupt, self.stray):
            await self.runner.run()
        return self.reported()

    def reported(self) -> Finished:
        record, folder = build_record(self.events.kept), self.runner.settings.folder
        if self.options.results is None:
            return Finished(record, folder)
        gone = self.events.missing()
        troubles, lacks = _write_reports(record, self.options, None if gone else folder)
        if self.line is not None:
            self.line.write(record)
            lacks += [self.line.trouble] if self.line.trouble else []
        troubles = [*filter(None, (self.events.trouble, gone)), *troubles]
        return Finished(record, folder, tuple(troubles), tuple(lacks), self.delivery)


def launch(options: RunOptions, operator: Operator, listeners: Sequence[Callable[[AnyEvent], None]] = ()) -> Finished:
    """Run the plan. Raises PlanError for bad device files and StationError when no results can be written; whatever
    happens after the run has begun is its verdict. The history gets it with `Finished.deliver`."""
    with prepared(options, operator, listeners, deliver=False) as run:
        return in_loop(run.attended(), run.loop_factory)


@contextlib.contextmanager
def prepared(
    options: RunOptions,
    operator: Operator,
    listeners: Sequence[Callable[[AnyEvent], None]] = (),
    pace: Pace | None = None,
    kind: type[Runner] = Runner,
    *,
    deliver: bool = True,
) -> Iterator[PreparedRun]:
    """A run with its folder, its journal and its line of the index, which are closed behind it. It waits for `pace` before
    each step and after the last one; it is carried out by a runner of this `kind`. With `deliver` it is brought into its
    history behind that. Raises as `launch` does."""
    secrets = options.plan.secrets()

    def keeping() -> Keeping:
        return Keeping(settings.folder, runner.began, secrets.line if secrets else lambda text: text)

    opener = _opener(options, keeping)
    with contextlib.ExitStack() as behind, contextlib.ExitStack() as resources:
        place = _history(options)
        settings = settings_of(options, _folder(options, resources))
        journal, line = _files(options, settings.folder, resources)
        events = Events(journal, [*listeners], lambda error: runner.blame(error), secrets, _foreign(options))
        learn = _learning(secrets)
        runner = kind(options.plan, options.nodes, settings, opener, operator, events, learn, pace)
        if (check := options.last_check) is not None:
            runner.last_check = lambda: check(build_record(events.kept))

        def forget() -> None:
            """What it was given refers to it, and would keep it, and the plan with it, until Python looks for garbage."""
            nonlocal runner
            events.blame = _nobody
            del runner

        resources.callback(forget)
        resources.callback(events.write)  # of a run that broke down
        delivery = _delivery(place, settings.folder)
        if delivery is not None and deliver:
            behind.callback(_deliver, delivery)
        yield PreparedRun(options, runner, events, line, delivery)


def _nobody(_: StationError) -> None:
    """To blame for what a thread that was left behind says after the end."""


def _opener(options: RunOptions, keeping: Callable[[], Keeping]) -> Opener:
    """What opens the radio, with what there is beside it."""
    station = options.station
    opener = options.opener or radio_opener(
        options.radio, seed=options.seed, capture=options.capture, keeping=keeping, station=station.station
    )
    return station.wiring(options.console).around(opener, keeping)


def settings_of(options: RunOptions, folder: Path) -> RunSettings:
    """What the head of its record says of a run, and what its steps share."""
    return RunSettings(
        station=options.station,
        radio=str(options.radio),
        simulated=options.radio.simulated,
        folder=folder,
        seed=options.seed if options.radio.simulated else None,
        acknowledged=options.acknowledged,
        devices=narrowed(options.plan, options.device),
        may_lack=options.may_lack,
        keep_samples=options.keep_samples,
        study=options.study,
        line=options.line,
    )


def _files(
    options: RunOptions, folder: Path, resources: contextlib.ExitStack
) -> tuple[Journal | None, IndexLine | None]:
    """What a run with results keeps open while it lasts."""
    if options.results is None:
        return None, None
    journal = resources.enter_context(Journal(folder / "record.jsonl"))
    return journal, resources.enter_context(IndexLine(folder))


def _history(options: RunOptions) -> Place | None:
    """Of a run that leaves something on disk."""
    if options.results is None:
        return None
    return chosen_place(options.history, options.station.history, options.results)


def _delivery(place: Place | None, folder: Path) -> Delivery | None:
    """From the begin of the run on it waits for its history."""
    delivery = Delivery(place, folder) if place is not None else None
    if delivery is not None:
        delivery.begin()
    return delivery


def _deliver(delivery: Delivery) -> None:
    if said := delivery.deliver():
        _log.warning("%s", said)


def _foreign(options: RunOptions) -> frozenset[str]:
    """The steps that run code of others."""
    return frozenset(step.id for step in every_step(options.nodes) if step.kind.executes)


def _learning(secrets: Secrets | None) -> Callable[[str], None]:
    return secrets.learn if secrets else lambda text: None


def _folder(options: RunOptions, resources: contextlib.ExitStack) -> Path:
    """That of this run, where its steps leave files too."""
    if options.results is not None:
        return _make_folder(options, options.results)
    return Path(resources.enter_context(tempfile.TemporaryDirectory(prefix="benchrig-", ignore_cleanup_errors=True)))


def _make_folder(options: RunOptions, results: Path) -> Path:
    """A new folder 'time-plan-serial' below the results folder; the serial number where the run was given one."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
    plan = options.plan
    slug = "-".join(filter(None, (_slug(plan.name) or "plan", _slug(given_serial(plan)))))
    for count in range(1, 1000):
        folder = results / (f"{stamp}-{slug}" + (f"-{count}" if count > 1 else ""))
        try:
            folder.mkdir(parents=True)
        except FileExistsError:
            continue
        except OSError as exc:
            raise cannot_write(folder, exc, "choose another place with --results") from exc
        return folder
    raise StationError(f"no folder for the results could be made in {results}")


def _slug(text: str) -> str:
    """Whole words, as far as there is room."""
    slug = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
    return slug if len(slug) <= _SLUG else slug[: _SLUG + 1].rpartition("-")[0] or slug[:_SLUG]


def _write_reports(record: Record, options: RunOptions, folder: Path | None) -> tuple[list[StationError], list[str]]:
    """Write every report that can be written; why the others could not, and the same of those that a run may lack. The run's
    own folder is None when it is gone: made anew, without its record, it would be that of no run."""
    troubles, lacks = list[StationError](), list[str]()
    for choice in allowed(options.reports, options.station.forbid):
        found = [*_written(record, choice, folder)]
        if choice.report.may_lack:
            lacks += [error.message for error in found]
        else:
            troubles += found
    return troubles, lacks


def _written(record: Record, choice: ReportChoice, folder: Path | None) -> Iterator[StationError]:
    try:
        data = choice.render(record)
    except StationError as error:  # one of another package
        yield error
        return
    except Exception as error:
        if not choice.report.may_lack:
            raise
        yield StationError(f"{choice.report.file_name} was not made: {type(error).__name__}: {error}")
        return
    for path in (choice.file, folder and folder / choice.report.file_name):
        try:
            if path is not None:
                write_whole(path, data)
        except StationError as error:
            yield error
