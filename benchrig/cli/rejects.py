"""`benchrig rejects`: how many good units a plan would reject."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig import signals
from benchrig.cli.failing import errors_for_people
from benchrig.cli.groups import RadioWords, grouped, radio_options
from benchrig.cli.options import flag, given_option, json_option, limits_option, option, path_option, seed_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.cli.programs import check_programs
from benchrig.cli.types import Percent, Share, Whole
from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.rejects.launch import RejectOptions
    from benchrig.rejects.results import Rejects, UnitRun

REJECTED, INTERRUPTED, INTERNAL = 1, 2, 3
_MOST = 999_999


@dataclass(frozen=True)
class Outputs:
    """Where the results go."""

    as_json: bool
    keep: Path | None
    force: bool


# These are fields of RejectOptions.
_testing = grouped(
    option("--units", "count", type=Whole(1, _MOST), default=1000, metavar="N", help="Test N units, numbered from 1 on."),
    option("--unit", type=Whole(0, _MOST), metavar="N", help="Test the unit of this number alone, and tell it at length."),
    seed_option(),
    option("--rate", type=Share(), default="0.1 %",
           help="The share of good units that may be rejected, by the whole plan and by each limit."),
    option("--confidence", type=Percent(), default="95 %", help="The confidence of all intervals and proposals."),
    option("--jobs", type=Whole(1, 1024), metavar="N", help="Test N units at a time.  [default: one for each processor]"),
    path_option("--escapes", there=True,
                help="What 'benchrig escapes --whole --json' wrote: say of each limit which faults it catches."),
    to="testing",
    make=dict,
)  # fmt: skip
_outputs = grouped(
    json_option("One JSON document with all that is known of the units that were rejected, and of each limit."),
    path_option("--keep", help="With --unit: write its device file, to run or to hand over."),
    flag("--force", help="Write over the file that --keep names."),
    to="outputs",
    make=Outputs,
)


@click.command(short_help="See how many good units a plan would reject.")
@click.argument("plan", type=click.Path(path_type=Path))
@radio_options(help="The device files of the sound device: virtual:FILE[,FILE…]; its 'spread' says how units differ.")
@given_option()
@limits_option()
@flag("--acknowledge", help="The plan runs other programs, and you want them to run for each unit.")
@_testing
@_outputs
def rejects(plan: Path, radio: RadioWords, given: tuple[str, ...], limits: Path | None, acknowledge: bool,
            testing: dict[str, Any], outputs: Outputs) -> None:  # fmt: skip
    """Run PLAN on many good units that differ as the device file says, and tell how many of them it rejects: by which
    step, which limits are too tight, and what they should be.

    Each unit follows from its number and the seed, and so does its run. Where neither device file nor --air names an
    air, it is a rough one.

    Exits with 0 when at most the share of --rate is rejected, with 1 when more are, with 2 when it was interrupted, with 3
    when benchrig could not test a unit, with 4 when plan or device are wrong.

    \b
    Example:
      benchrig rejects testplans/end_of_line.yaml --radio virtual:testplans/devices/logger.yaml
      benchrig rejects testplans/end_of_line.yaml --radio virtual:testplans/devices/logger.yaml \\
        --unit 4711 --keep unit.yaml
      benchrig rejects testplans/end_of_line.yaml --radio virtual:testplans/devices/logger.yaml \\
        --units 3000 --rate '0.1 %' --escapes escapes.json
    """
    from benchrig.plan.loader import load_plan

    with errors_for_people():
        if outputs.keep and testing["unit"] is None:
            raise UsageError("--keep goes with --unit", advice="for example: --unit 4711")
        options = _options(plan, radio, given, {**testing, "limits": limits})
        check_programs(load_plan(plan), "for each unit", acknowledge=acknowledge)
        _make_way(outputs, options)
        made = _test(options)
        _leave(made, options, outputs)
        sys.exit(_code(made))


def _options(path: Path, radio: RadioWords, given: tuple[str, ...], testing: dict[str, Any]) -> RejectOptions:
    from benchrig.cli.given import values_for
    from benchrig.rejects.launch import RejectOptions

    if not radio.radio:
        raise UsageError("--radio is missing: of which device the units are", advice="write --radio virtual:FILE")
    made = {key: value for key, value in testing.items() if key != "jobs" or value is not None}
    if not 0 < made["rate"] < 1:
        raise UsageError("--rate is above 0 % and below 100 %", advice="for example: --rate '0.1 %'")
    return RejectOptions(path, radio.choice(), values_for(path, {}, given), **made)


def _make_way(outputs: Outputs, options: RejectOptions) -> None:
    from benchrig.files import is_special, writable
    from benchrig.report.place import make_way

    devices = dict.fromkeys(path.resolve() for path in options.radio.files)
    read = {f"the device file {path.name}": path for path in devices}
    make_way([], {"the plan": options.path, "the limit set": options.limits, **read, "--keep": outputs.keep})
    if outputs.keep and not is_special(outputs.keep):
        writable(outputs.keep, force=outputs.force)


def _test(options: RejectOptions) -> Rejects:
    from benchrig.rejects.launch import rejected
    from benchrig.run.unattended import Unattended
    from benchrig.terminal.waiting import status_line

    with status_line() as show:
        signals.let_through()
        show("the first units")
        try:
            return rejected(options, Unattended(), _progress(show, options.asked))
        finally:
            signals.hold()


def _progress(show: Callable[[str], None], count: int) -> Callable[[UnitRun], None]:
    """'120 of 1000 units, 2 rejected'."""
    tested = refused = 0

    def told(run: UnitRun) -> None:
        nonlocal tested, refused
        tested, refused = tested + 1, refused + run.is_rejected
        show(f"{tested} of {count} units, {refused} rejected")

    return told


def _leave(made: Rejects, options: RejectOptions, outputs: Outputs) -> None:
    from benchrig.files import write_whole

    if outputs.keep:
        write_whole(outputs.keep, _device_text(made, options).encode(), advice="give another file to --keep")
    with whatever_the_output_does(verdict=True):
        if outputs.as_json:
            print_json(made)
            return
        from benchrig.cli.rejects_text import RejectsPage

        RejectsPage().show(made, at_length=options.unit is not None)
        if outputs.keep:
            echo(f"device file: {outputs.keep}")


def _device_text(made: Rejects, options: RejectOptions) -> str:
    from benchrig.radio.virtual.writing import device_text

    units = options.units()
    head = [f"{made.device}, unit {options.first} of seed {made.seed}: tested in the air '{made.air}'"]
    return device_text(
        units.unit(options.first).device, head=[*head, f"with the seed {units.run_seed(options.first)}."]
    )


def _code(made: Rejects) -> int:
    if made.interrupted:
        return INTERRUPTED
    if made.failed:
        return INTERNAL
    return REJECTED if made.rate is not None and made.rate.share > made.asked_rate else 0
