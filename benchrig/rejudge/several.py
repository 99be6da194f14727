"""The records of folders, each judged again with the values that its run was given."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path

from msgspec.structs import replace

from benchrig.errors import BenchrigError, PlanError, UsageError
from benchrig.plan.limit_choice import title_of
from benchrig.plan.model import Plan
from benchrig.record.began import began
from benchrig.record.journal import RECORD, read_record
from benchrig.record.model import Record
from benchrig.rejudge.given import PlanForRuns
from benchrig.rejudge.record import rejudge
from benchrig.rejudge.results import NotRead, Results, Run, run_of, yield_of


def folders_of(results: Iterable[Path]) -> list[Path]:
    """The folders of runs in these, at any depth, each once. UsageError for one without any."""
    found: dict[Path, None] = {}
    for path in results:
        inside = [path] if (path / RECORD).is_file() else sorted(each.parent for each in path.rglob(RECORD))
        if not inside:
            raise UsageError(
                f"{path} has no record of a run", advice="name the folder of a run, or one with such folders"
            )
        found |= dict.fromkeys(inside)
    return [*found]


def rejudge_all(results: Sequence[Path], plan_file: Path, limits: Path | None, *, simulated: bool = False) -> Results:
    """The runs of the plan in these folders, in the order of time. PlanError, UsageError."""
    plans = PlanForRuns(plan_file, limits)
    judged, not_read = _Judged(plans, title_of(plan_file), simulated), list[NotRead]()
    for folder in folders_of(results):
        try:
            judged.take(folder)
        except BenchrigError as error:
            not_read.append(NotRead(str(folder), _first_line(error)))
    runs = judged.in_time()
    if not runs:
        why = not_read[0].why if not_read else ""
        raise UsageError(f"no run of the plan '{judged.title}' can be judged again: {why}", advice=judged.advice)
    return _results(plans.any_of_them, limits, runs, not_read, judged)


def _first_line(error: BenchrigError) -> str:
    said = error.problems[0].message if isinstance(error, PlanError) else error.message
    return said.partition("\n")[0]


class _Judged:
    """Runs judged again, one of each id."""

    def __init__(self, plans: PlanForRuns, title: str, simulated: bool) -> None:
        self.runs: list[Run] = []
        self.as_run = 0
        self.title, self.simulated = title, simulated
        self.advice = ""
        self._plans = plans
        self._seen: dict[str, Path] = {}
        # by address the serial numbers that were with it
        self._serials: defaultdict[str, set[str]] = defaultdict(set)
        self._began: dict[str, datetime] = {}

    def take(self, folder: Path) -> None:
        """UsageError for a run that is not to be judged again."""
        record = read_record(folder)
        for why in self._misfits(record):
            raise UsageError(why)
        self._began[record.run.run_id] = began(record.run.started)
        again = rejudge(record, self._plans.of(record.run))
        self._seen[record.run.run_id] = folder
        self.as_run += again.as_run
        run = run_of(again, str(folder))
        if record.unit is not None and record.unit.address and run.unit != record.unit.address:
            self._serials[record.unit.address].add(run.unit)
        self.runs.append(run)

    def in_time(self) -> list[Run]:
        """In the order of their begin. A unit that failed before it told its serial number is known by its address: where one
        serial number alone was with that, it is that unit."""
        runs = sorted(self.runs, key=lambda run: (self._began[run.run_id], run.run_id))
        known = {address: min(serials) for address, serials in self._serials.items() if len(serials) == 1}
        return [replace(run, unit=known.get(run.unit, run.unit)) for run in runs]

    def _misfits(self, record: Record) -> Iterator[str]:
        run = record.run
        if run.plan != self.title:
            yield f"it is a run of the plan '{run.plan}'"
        if run.simulated != self.simulated:
            change = "leave --simulated out" if self.simulated else "add --simulated"
            self.advice = f"{change}: simulated runs are judged alone"
            yield "it is a simulated run" if run.simulated else "it is a run on a real unit"
        if record.ended is None:
            yield "the run was cut off"
        if run.run_id in self._seen:
            yield f"it is a copy of the run in {self._seen[run.run_id]}"


def _results(plan: Plan, limits: Path | None, runs: list[Run], not_read: list[NotRead], judged: _Judged) -> Results:
    return Results(
        plan.name,
        str(plan.path),
        plan.hash,
        plan.revision,
        judged.simulated,
        runs,
        yield_of(runs, lambda run: run.before),
        yield_of(runs, lambda run: run.after),
        not_read,
        judged.as_run,
        plan.limit_set,
    )
