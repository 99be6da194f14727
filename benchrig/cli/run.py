"""`benchrig run`: a plan on a unit, to a verdict."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig import signals
from benchrig.cli.common import RADIO_HELP, air_option, complete_step, echo, errors_for_people
from benchrig.cli.ports import port_options
from benchrig.cli.reports import ReportingCommand
from benchrig.cli.types import Time, Whole
from benchrig.report.place import make_way

if TYPE_CHECKING:
    from benchrig.launch import RunOptions
    from benchrig.plan.model import Plan
    from benchrig.report.registry import ReportChoice

# The radio of the desk commands; a run must say for itself what it is on.
_VARIABLE = "BENCHRIG_RADIO"


@click.command(cls=ReportingCommand, short_help="Run a test plan on a device.")
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "--radio",
    metavar="RADIO",
    help=f"{RADIO_HELP}  [default: that of the station file, else host; {_VARIABLE} does not count here, so that no run "
    "is simulated by what happens to be in the environment]",
)
@click.option(
    "-d",
    "--device",
    default="",
    metavar="DEVICE",
    help="Of the devices that the plan selects, the one with this name (with * and ?) or address.",
)
@port_options
@click.option(
    "--set",
    "given",
    multiple=True,
    metavar="NAME=VALUE",
    help="A value the plan asks for; a secret one as NAME=@FILE or NAME=@env:VARIABLE.",
)
@click.option(
    "--only",
    multiple=True,
    metavar="STEP",
    shell_complete=complete_step,
    help="Run this step (name or number) with what it needs; may be given several times.",
)
@click.option(
    "--from", "from_", metavar="STEP", shell_complete=complete_step, help="Run from this step on, with what it needs."
)
@click.option("--acknowledge", is_flag=True, help="You have read the plan's caution and done what it says.")
@click.option(
    "--station",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Station file: name, radio, results, what is forbidden.",
)
@click.option(
    "--results",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Where each run leaves its folder (default: results).",
)
@click.option(
    "--may-lack",
    multiple=True,
    metavar="STEP.READING",
    help="Let the run pass without judging this limit where the radio does not tell the reading, for example "
    "scan.interval; may be given several times.",
)
@click.option("--seed", type=Whole(0), default=0, metavar="N", help="Seed of everything random on a virtual radio.")
@air_option()
@click.option("--real-time", is_flag=True, help="Let a virtual radio take the time a real one would.")
@click.option(
    "--capture",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Capture the HCI traffic of a virtual or hci radio (btsnoop). It holds pairing keys and secret values: treat it "
    "as secret.",
)
@click.option(
    "--answer-within",
    metavar="TIME",
    type=Time(),
    default="10 min",
    show_default=True,
    help="End the run when nobody at the terminal acknowledges the caution or gives a missing value in this time.",
)
@click.option("--all-readings", is_flag=True, help="Show readings without a limit in the table too.")
@click.option("-q", "--quiet", is_flag=True, help="Print only the verdict, and what decided it when it is not pass.")
def run(
    plan: Path,
    radio: str | None,
    device: str,
    ports: tuple[str, ...],
    starts: tuple[str, ...],
    given: tuple[str, ...],
    only: tuple[str, ...],
    from_: str | None,
    acknowledge: bool,
    station: Path | None,
    results: Path | None,
    may_lack: tuple[str, ...],
    seed: int,
    air: str | None,
    real_time: bool,
    capture: Path | None,
    answer_within: float,
    all_readings: bool,
    quiet: bool,
    reports: tuple[ReportChoice, ...],
) -> None:
    """Run PLAN on the unit that it selects, and report.

    \b
    Example:
      benchrig run testplans/smoke.yaml --radio virtual:testplans/devices/logger.yaml
    """
    with errors_for_people():
        make_way(reports, {"the plan": plan, "--station": station, "--capture": capture})
        signals.let_through()

        from benchrig.cli.common import attended
        from benchrig.cli.given import load_with_given, parse_given
        from benchrig.cli.secret import with_secrets
        from benchrig.launch import RunOptions
        from benchrig.radio.specify import RadioChoice
        from benchrig.run.choose import choose_steps
        from benchrig.run.station import load_station

        bench = load_station(station)
        choice = RadioChoice.parse(radio or bench.radio or "host", ports, starts, air)
        values = _allowed_given(plan, bench.given) | with_secrets(plan, parse_given(given))
        loaded = load_with_given(plan, values, ask=attended(), within=answer_within)
        options = RunOptions(
            plan=loaded,
            nodes=choose_steps(loaded, only, from_),
            station=bench,
            radio=choice,
            results=results or Path(bench.results or "results"),
            seed=seed,
            real_time=real_time,
            capture=capture,
            acknowledged=acknowledge,
            reports=reports,
            device=device,
            may_lack=_known_limits(loaded, may_lack),
        )
        code = _run(options, answer_within, all_readings=all_readings, quiet=quiet)
        if code == 7 and not (radio or bench.radio):
            _say_what_was_not_asked()
        sys.exit(code)


def _known_limits(plan: Plan, names: tuple[str, ...]) -> frozenset[str]:
    """UsageError for a limit that the plan does not have."""
    from benchrig.errors import UsageError
    from benchrig.plan.checks import limits_by_name
    from benchrig.source.problem import suggest

    limits = limits_by_name(plan.steps)
    for name in names:
        if name not in limits:
            raise UsageError(f"--may-lack: the plan has no limit '{name}'", advice=suggest(name, limits))
    return frozenset(names)


def _say_what_was_not_asked() -> None:
    if given := os.environ.get(_VARIABLE):
        from benchrig.text.escape import plain

        radio = plain(given, 200)
        echo(f"benchrig: {_VARIABLE} does not count for a run; if you meant it: --radio {radio}", err=True)


def _allowed_given(plan: Path, given: dict[str, str]) -> dict[str, str]:
    """The station's values that this plan asks for: a station serves many plans."""
    if not given:
        return {}
    from benchrig.plan.loader import load_plan

    return {name: value for name, value in given.items() if name in load_plan(plan).given}


def _run(options: RunOptions, answer_within: float, *, all_readings: bool, quiet: bool) -> int:
    from benchrig.cli.common import attended, console, whatever_the_output_does
    from benchrig.cli.operator import AtTerminal, Unattended
    from benchrig.cli.progress import Progress
    from benchrig.launch import launch
    from benchrig.report.table import render, render_verdict
    from benchrig.text.escape import plain

    screen = console()
    progress = Progress(console(stderr=True)) if attended() and not quiet else None
    quiet_line = progress.hide if progress else lambda: None
    operator = AtTerminal(quiet_line, answer_within) if attended() else Unattended()
    signals.hold()  # the run's own loop takes them, and its verdict is not to be interrupted
    finished = launch(options, operator, [progress] if progress else [])
    with whatever_the_output_does(verdict=True):
        if progress:
            progress.hide()
        if quiet:
            render_verdict(finished.record, screen)
        else:
            render(finished.record, screen, unjudged=all_readings)
        screen.print(f"record: {plain(str(finished.folder), 1000)}", soft_wrap=True)
    for trouble in finished.troubles:
        echo(f"benchrig: {plain(trouble.message, 1000)}", err=True)
    assert finished.record.ended is not None
    code = finished.record.ended.exit_code
    # a pass whose report is missing must not look like one to the job that reads the report
    return 7 if code == 0 and finished.troubles else code
