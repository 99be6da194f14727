"""A plan run from Python, in the event loop of whoever runs it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from benchrig.console.choice import ConsoleChoice
from benchrig.errors import UsageError
from benchrig.history.choosing import wanted
from benchrig.launch import Finished, RunOptions, prepared
from benchrig.loop import Factory
from benchrig.plan.given_words import of_station
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice, loop_factory
from benchrig.record.events import AnyEvent
from benchrig.record.model import Record
from benchrig.run.answers import Answers
from benchrig.run.choose import choose_steps
from benchrig.run.head import known_limits, texts_of
from benchrig.station.station import Station, check_radio_files, load_station
from benchrig.steps.bench import Operator
from benchrig.tasks import Tasks, undisturbed
from benchrig.values.kept import MOST_KEPT


async def run_plan(
    path: str | Path,
    *,
    radio: str | None = None,
    given: Mapping[str, Any] | None = None,
    station: str | Path | None = None,
    results: str | Path | None = None,
    device: str | Sequence[str] = (),
    only: Sequence[str] = (),
    from_: str | None = None,
    may_lack: Sequence[str] = (),
    seed: int = 0,
    air: str | None = None,
    console: str | None = None,
    capture: str | Path | None = None,
    limits: str | Path | None = None,
    keep_samples: int = 0,
    history: str | Path | None = None,
    acknowledged: bool = False,
    operator: Operator | None = None,
    watch: Callable[[AnyEvent], None] = lambda event: None,
) -> Record:
    """Run the plan in a file, and give its record. All but the last three are the options of `benchrig run`; without a
    `radio` that of the station counts, else the host's.

    results       where the run leaves its folder, with record and reports (default: nothing is written)
    history       the history that the run comes into, by `results` (default: as for `benchrig run`)
    acknowledged  the caution of the plan was read, and what it says was done
    operator      answers questions: `Answers({…})`; without one nobody does
    watch         is called with each event when it happens

    It lives in the running loop, and takes over neither the loop nor signals. Times are those of that loop: on an ordinary one
    a run on a virtual radio takes its time, on a `benchrig.testing.VirtualLoop` it takes none. Cancelled, it ends the
    operation at hand, carries out the finally steps, writes the record, and raises CancelledError; cancelled again, it leaves
    out the finally steps.

    Raises PlanError with all problems of plan, device and station files, UsageError for what makes no sense together, and
    StationError where results are wanted and a run that passed could not write them. What happens in the run is its verdict:
    it raises nothing.
    """
    at = load_station(Path(station) if station is not None else None)
    choice = _radio(radio, at, station, air)
    values = of_station(Path(path), at.given, at.forbid) | texts_of(given or {})
    seeded, file = seed if choice.simulated else None, Path(limits) if limits is not None else None
    plan = load_plan(Path(path), values, seed=seeded, forbid=at.forbid, limits=file)
    options = RunOptions(
        plan,
        choose_steps(plan, only, from_),
        at,
        choice,
        Path(results) if results is not None else None,
        seed=seed,
        capture=Path(capture) if capture is not None else None,
        acknowledged=acknowledged,
        device=(device,) if isinstance(device, str) else tuple(device),
        may_lack=known_limits(plan, may_lack),
        keep_samples=_kept(keep_samples),
        console=ConsoleChoice.parse(console) if console is not None else None,
        history=wanted(history, results),
    )
    with prepared(options, operator or Answers(), [watch]) as run:
        task = Tasks().start(run.run())
        await undisturbed(task, run.interrupt)
        return _reported(task.result())


def loop_for(
    radio: str | None, station: str | Path | None, air: str | None, console: str | None, *, real_time: bool
) -> Factory | None:
    """What makes the loop for a run with these options; None for an ordinary one. A console takes its own time."""
    at = load_station(Path(station) if station is not None else None)
    wiring = at.wiring(ConsoleChoice.parse(console) if console is not None else None)
    return loop_factory(_radio(radio, at, station, air), real_time=real_time or wiring.console is not None)


def _radio(words: str | None, station: Station, file: str | Path | None, air: str | None) -> RadioChoice:
    choice = RadioChoice.parse(words or station.radio or "host", air=air)
    if file is not None and not words:
        check_radio_files(choice, Path(file))
    return choice


def _kept(most: int) -> int:
    """How many samples of a stream are to be kept. UsageError for what cannot be."""
    if not 0 <= most <= MOST_KEPT:
        raise UsageError(f"keep_samples: expected a number of samples, 0 to {MOST_KEPT}, found {most}")
    return most


def _reported(finished: Finished) -> Record:
    """A pass whose record or reports are missing must not look like one."""
    if finished.record.verdict == "pass" and finished.troubles:
        raise finished.troubles[0]
    return finished.record
