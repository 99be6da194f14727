"""The runs of one call, one after the other: what is shown of them, and what they come to together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from benchrig import signals
from benchrig.cli.groups import Command, grouped
from benchrig.cli.options import option, path_option
from benchrig.cli.out import echo, tell, whatever_the_output_does
from benchrig.cli.types import Whole
from benchrig.errors import BenchrigError, OperatorError, UsageError
from benchrig.files import write_whole
from benchrig.terminal import attended, console
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.cli.loading import Loaded
    from benchrig.launch import Finished, RunOptions
    from benchrig.report.registry import ReportChoice
    from benchrig.series.outcome import Ran
    from benchrig.series.repeated import OneRun
    from benchrig.series.tally import Total

StopOn = Literal["fail", "error"]
Carry = Callable[["RunOptions"], "Finished"]
_OTHERS = 5


@dataclass(frozen=True)
class Several:
    """The options as they were typed."""

    repeat: int
    stop_on: StopOn | None
    summary: Path | None

    def check(
        self, plans: Sequence[Path], chosen: dict[str, Any], reaching: dict[str, Any], reports: Sequence[ReportChoice]
    ) -> None:
        """UsageError for options that go with one plan, or with one run, and for a report that holds one run."""
        runs = len(plans) * self.repeat
        device = any("=" in each for each in reaching["device"])
        for name, value in {**chosen, "--device NAME=": device}.items():
            if value and len(plans) > 1:
                raise _alone(name, "plan", len(plans), "run that plan in a separate call")
        if reaching["capture"] and runs > 1:
            raise _alone("--capture", "run", runs, "capture that run in a separate call")
        for report in [choice.report for choice in reports if choice.file and choice.report.join is None]:
            if runs > 1:
                raise _alone(report.option, "run", runs, f"take it out: the folder of each run has {report.file_name}")

    def runs(
        self, loaded: Sequence[Loaded], only: Sequence[str], from_: str | None, of_all: dict[str, Any]
    ) -> list[OneRun]:
        """Each of the plans as often as it is to be run."""
        from benchrig.launch import RunOptions
        from benchrig.run.choose import choose_steps
        from benchrig.series.repeated import repeated

        options = [
            RunOptions(each.plan, choose_steps(each.plan, only, from_), may_lack=each.may_lack, **of_all)
            for each in loaded
        ]
        by_path = {each.plan.path: each for each in loaded}
        return repeated(options, self.repeat, lambda path, seed: by_path[path].again(seed))


def _alone(option: str, what: str, count: int, advice: str) -> UsageError:
    return UsageError(f"{option} goes with one {what}, and this call has {count}", advice=advice)


def several_options() -> Callable[[Command], Command]:
    """How several runs are made and told, as `several`."""
    return grouped(
        option(
            "--repeat",
            type=Whole(1, 10000),
            default=1,
            metavar="N",
            help="Run all plans N times; on a virtual radio each time with the next seed.",
        ),
        click.option(
            "--stop-on",
            type=click.Choice(["fail", "error"]),
            help="Leave out the other runs after the first one that does not pass (fail), or that could not test (error).",
        ),
        path_option("--summary", help="Write what the runs came to as Markdown, short enough for a merge request."),
        to="several",
        make=Several,
    )


@dataclass(frozen=True)
class Series:
    """How several runs are carried out: `carry_out` is one of them, as it is shown alone."""

    runs: Sequence[OneRun]
    reports: Sequence[ReportChoice]
    stop_on: StopOn | None
    summary: Path | None
    quiet: bool

    def carry_out(self, carry_out: Carry) -> int:
        """All of them; the exit code."""
        from benchrig.run.outcome import exit_of
        from benchrig.series.tally import Total

        held, done = signals.heard(), _Done([each for each in self.reports if each.file])
        interrupted = False
        for number, run in enumerate(self.runs, 1):
            interrupted = signals.heard() > held
            if why := self._why_not(done, run, interrupted=interrupted):
                done.leave_out(run, why)
                continue
            if not self.quiet or _asks(run.options):
                self._announce(number, run)
            done.carry_out(run, carry_out)
        # one that came after the last verdict has interrupted nothing
        interrupted = interrupted or (signals.heard() > held and done.runs[-1].code == exit_of("operator"))
        total = Total(done.runs, interrupted=interrupted)
        if len(self.runs) > 1:
            _show(total, apart=not self.quiet)
        written = [*map(_written, done.reports()), *self._summarise(total)]
        return 7 if total.code == 0 and not all(written) else total.code

    def _why_not(self, done: _Done, run: OneRun, *, interrupted: bool) -> BenchrigError | None:
        """Why a run is left out."""
        if interrupted:
            return OperatorError("this plan was not run: the call was interrupted before")
        stopped_by = next((ran for ran in done.runs if self._stops(ran)), None)
        if stopped_by is None:
            return None
        return OperatorError(f"this plan was not run: --stop-on {self.stop_on}, and {stopped_by.path} did not pass")

    def _stops(self, ran: Ran) -> bool:
        """A unit that failed is no error."""
        return ran.code not in {None: (ran.code,), "fail": (0,), "error": (0, 1)}[self.stop_on]

    def _announce(self, number: int, run: OneRun) -> None:
        count = len(self.runs)
        if count > 1:
            times = f", repetition {run.repetition}" if run.repetition > 1 or self.runs[-1].repetition > 1 else ""
            with whatever_the_output_does(verdict=True):
                echo("\n" * (number > 1) + f"run {number} of {count}: {plain(str(run.options.plan.path))}{times}\n")

    def _summarise(self, total: Total) -> list[bool]:
        from benchrig.series.summary import summary_text

        return [_written((self.summary, summary_text(total).encode()))] if self.summary else []


@dataclass
class _Done:
    """The runs so far, and what becomes part of the files of all."""

    choices: Sequence[ReportChoice]
    runs: list[Ran] = field(default_factory=list)
    _documents: list[list[bytes]] = field(default_factory=list)

    def carry_out(self, run: OneRun, carry_out: Carry) -> None:
        """One that cannot begin does not keep the others from being run."""
        from benchrig.series.outcome import came_to

        try:
            finished = carry_out(run.options)
        except BenchrigError as error:
            if not self.runs:  # nothing was run so far: as with one plan
                raise
            tell(f"benchrig: {error.message}")
            self.leave_out(run, error)
            return
        self._documents.append([choice.render(finished.record) for choice in self.choices])
        path = run.options.plan.path
        self.runs.append(came_to(finished.record, path, run.repetition, finished.folder, finished.troubles))

    def leave_out(self, run: OneRun, why: BenchrigError) -> None:
        from benchrig.series.outcome import came_to
        from benchrig.series.repeated import not_run

        record = not_run(run.options, why)
        self._documents.append([choice.render(record) for choice in self.choices])
        self.runs.append(came_to(record, run.options.plan.path, run.repetition, None))

    def reports(self) -> list[tuple[Path, bytes]]:
        """The files with all runs; one run alone has written its own."""
        return [
            (choice.file, choice.report.join(documents))
            for choice, documents in zip(self.choices, zip(*self._documents, strict=True), strict=True)
            if choice.file and choice.report.join and len(self.runs) > 1
        ]


def _asks(options: RunOptions) -> bool:
    """Whether somebody is asked about the plan: he has to know which one it is."""
    return bool(options.plan.caution) and not options.acknowledged and attended()


def _written(file: tuple[Path, bytes]) -> bool:
    try:
        write_whole(*file)
    except BenchrigError as error:
        tell(f"benchrig: {error.message}")
        return False
    return True


def _show(total: Total, *, apart: bool) -> None:
    from benchrig.cli.several_text import show_total

    with whatever_the_output_does(verdict=True):
        if apart:
            echo()
        show_total(total, console())


def tell_others(others: Sequence[Path]) -> None:
    """What folders hold beside plans."""
    if others:
        shown = ", ".join(map(str, others[:_OTHERS]))
        more = f" and {len(others) - _OTHERS} more" if len(others) > _OTHERS else ""
        tell(f"benchrig: left alone, since they are not plans: {shown}{more}")
