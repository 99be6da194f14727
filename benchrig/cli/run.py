"""`benchrig run`: a plan on a unit, to a verdict."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig import signals, terminal
from benchrig.cli.completing import complete_step
from benchrig.cli.failing import errors_for_people
from benchrig.cli.groups import RADIO_HELP, RadioWords, grouped, radio_options
from benchrig.cli.options import (
    flag,
    given_option,
    history_option,
    limits_option,
    option,
    path_option,
    real_time_option,
    seed_option,
)
from benchrig.cli.out import tell, whatever_the_output_does
from benchrig.cli.reports import ReportingCommand
from benchrig.cli.several import Series, Several, several_options, tell_others
from benchrig.cli.types import ConsolePlace, Time, Whole
from benchrig.report.place import clear, make_way
from benchrig.series.begins import SUMMARY_BEGINS
from benchrig.terminal import console
from benchrig.text.escape import plain
from benchrig.values.kept import MOST_KEPT

if TYPE_CHECKING:
    from benchrig.launch import Finished, RunOptions
    from benchrig.report.registry import ReportChoice

# The radio of the desk commands; a run must say for itself what it is on.
_VARIABLE = "BENCHRIG_RADIO"


@dataclass(frozen=True)
class Shown:
    """How the run is shown and attended to."""

    answer_within: float
    all_readings: bool
    quiet: bool


_radio = radio_options(
    help=f"{RADIO_HELP}  [default: that of the station file, else host; {_VARIABLE} does not count here, so that no run "
    "is simulated by what happens to be in the environment]"
)
# These reach the run as they are: each is a field of RunOptions.
_reaching = grouped(
    click.option(
        "-d",
        "--device",
        multiple=True,
        metavar="[NAME=]DEVICE",
        help="Of the devices that the plan selects, the one with this name (with * and ?) or address. In a plan with "
        "several devices NAME is one of them.",
    ),
    flag("--acknowledge", "acknowledged", help="You have read the plan's caution and done what it says."),
    seed_option(),
    real_time_option(),
    path_option(
        "--capture",
        help="Capture the HCI traffic of a virtual or hci radio (btsnoop). It holds pairing keys and secret values: "
        "treat it as secret.",
    ),
    option(
        "--console",
        type=ConsolePlace(),
        metavar="CONSOLE",
        help="The console of the unit, which is kept with the run: serial:PORT[,SPEED] or tcp:HOST:PORT.",
    ),
    history_option(),
    option(
        "--keep-samples",
        type=Whole(0, MOST_KEPT),
        default=0,
        metavar="N",
        help="Keep N samples of each stream, and levels of each scan, on record. A step with keep_samples says "
        "it for itself.",
    ),
    to="reaching",
    make=dict,
)
_shown = grouped(
    option(
        "--answer-within",
        type=Time(),
        default="10 min",
        help="End the run when nobody at the terminal acknowledges the caution or gives a missing value in this time.",
    ),
    flag("--all-readings", help="Show readings without a limit in the table too."),
    flag("-q", "--quiet", help="Print only the verdict, and what decided it when it is not pass."),
    to="shown",
    make=Shown,
)


@click.command(cls=ReportingCommand, short_help="Run test plans on a device.")
@click.argument("plans", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PLAN…")
@_radio
@given_option()
@option(
    "--only",
    multiple=True,
    metavar="STEP",
    shell_complete=complete_step,
    help="Run this step (name or number) and the steps it depends on: connections, saved values, only_after, and what writes "
    "the attributes that it reads. Other steps that change the unit are left out, and named. May be given several times.",
)
@option(
    "--from",
    "from_",
    metavar="STEP",
    shell_complete=complete_step,
    help="Run from this step on, with the steps it depends on.",
)
@option(
    "--may-lack",
    multiple=True,
    metavar="STEP.READING",
    help="Let the run pass without judging this limit where the radio cannot measure the reading, for example "
    "scan.interval; may be given several times.",
)
@limits_option(several=True)
@path_option("--station", help="Station file: name, radio, results, what is forbidden.")
@path_option("--results", metavar="DIR", help="Where each run leaves its folder (default: results).")
@several_options()
@_reaching
@_shown
def run(plans: tuple[Path, ...], radio: RadioWords, given: tuple[str, ...], only: tuple[str, ...], from_: str | None,
        may_lack: tuple[str, ...], limits: tuple[Path, ...], station: Path | None, results: Path | None, several: Several,
        reaching: dict[str, Any], shown: Shown, reports: tuple[ReportChoice, ...]) -> None:  # fmt: skip
    """Run each PLAN on the unit that it selects, and report. Of a folder all plans in it are run, in the order of their
    names. All are checked before the first begins; the exit code is the worst.

    \b
    Example:
      benchrig run testplans/smoke.yaml --radio virtual:testplans/devices/logger.yaml
      benchrig run line/ --repeat 3 --junit all.xml --summary summary.md
    """
    with errors_for_people():
        read = {"--station": station, **{f"the limit set {path}": path for path in limits}}
        _make_way(plans, reports, {**read, "--capture": reaching["capture"]}, several.summary)
        signals.let_through()

        from benchrig.cli.loading import Asking, load_plans
        from benchrig.report.brought import check_allowed
        from benchrig.series.finding import find_plans
        from benchrig.station.station import check_radio_files, load_station

        bench = load_station(station)
        choice = radio.choice(bench.radio or "")
        if station and not radio.radio:
            check_radio_files(choice, station)
        folder = results or Path(bench.results or "results")
        found = find_plans(plans, folder)
        several.check(found.plans, {"--only": only, "--from": from_}, reaching, reports)
        asking = Asking(
            terminal.attended(), shown.answer_within, reaching["seed"] if choice.simulated else None, bench.forbid
        )
        check_allowed(reports, bench.forbid)
        loaded = load_plans(found.plans, bench.given, given, asking, may_lack, reaching["device"], limits)
        of_all = {"station": bench, "radio": choice, "results": folder, "reports": reports, **reaching}
        runs = several.runs(loaded, only, from_, of_all)
        if not shown.quiet:
            tell_others(found.others)
        series = Series(runs, reports, several.stop_on, several.summary, shown.quiet)
        code = series.carry_out(lambda options: _run(options, shown, alone=len(runs) == 1))
        if code == 7 and not (radio.radio or bench.radio) and (elsewhere := os.environ.get(_VARIABLE)):
            tell(f"benchrig: {_VARIABLE} does not count for a run; if you meant it: --radio {elsewhere}")
        sys.exit(code)


def _make_way(
    plans: tuple[Path, ...], reports: tuple[ReportChoice, ...], others: dict[str, Path | None], summary: Path | None
) -> None:
    """Take away what an earlier call has left where this one writes."""
    files = {"the plan" if len(plans) == 1 else f"the plan {plan}": plan for plan in plans}
    make_way(reports, {**files, **others, "--summary": summary})
    if summary is not None:
        clear("--summary", SUMMARY_BEGINS, summary)


def _run(options: RunOptions, shown: Shown, *, alone: bool) -> Finished:
    """Run it, and show what it came to; of several quiet ones the end of the call tells that."""
    from benchrig.cli.operator import AtTerminal
    from benchrig.cli.progress import Progress
    from benchrig.launch import launch
    from benchrig.run.unattended import Unattended

    attended = terminal.attended()
    progress = Progress() if attended and not shown.quiet else None
    quiet = progress.hide if progress else lambda: None
    operator = AtTerminal(quiet, shown.answer_within) if attended else Unattended()
    signals.hold()  # the run's own loop takes them, and its verdict is not to be interrupted
    finished = launch(options, operator, [progress] if progress else [])
    with whatever_the_output_does(verdict=True):
        quiet()
        if alone or not shown.quiet:
            _show(finished, shown)
    for trouble in (*(each.message for each in finished.troubles), *finished.lacks):
        if trouble:
            tell(f"benchrig: {trouble}")
    if waits := finished.deliver():
        tell(f"benchrig: {waits}")
    return finished


def _show(finished: Finished, shown: Shown) -> None:
    from benchrig.report.table import render, render_verdict

    screen = console()
    if shown.quiet:
        render_verdict(finished.record, screen)
    else:
        render(finished.record, screen, unjudged=shown.all_readings)
    screen.print(f"record: {plain(str(finished.folder), 1000)}", soft_wrap=True)
