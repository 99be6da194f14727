"""`benchrig escapes`: which faulty units a plan would pass."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig import signals
from benchrig.cli.completing import complete_family, complete_fault
from benchrig.cli.failing import errors_for_people
from benchrig.cli.groups import RadioWords, grouped, radio_options
from benchrig.cli.options import flag, given_option, json_option, limits_option, option, path_option, seed_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.cli.programs import check_programs
from benchrig.cli.types import Share, Whole
from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.escapes.launch import HuntOptions
    from benchrig.escapes.results import Hunted, Result, Told
    from benchrig.plan.model import Plan

INTERRUPTED, INTERNAL = 2, 3


@dataclass(frozen=True)
class Outputs:
    """Where the results go, and from which share of caught faults on they are good enough."""

    as_json: bool
    junit: Path | None
    page: Path | None
    keep: Path | None
    propose: Path | None
    take: Path | None
    force: bool
    fail_under: float


# These are fields of HuntOptions.
_reaching = grouped(
    option("--families", multiple=True, metavar="FAMILY", shell_complete=complete_family,
           help="Try the faults of this family alone; may be given several times, or with commas."),
    option("--fault", "names", multiple=True, metavar="NAME", shell_complete=complete_fault,
           help="Try this fault, and tell at length what the run made of it; may be given several times."),
    option("--pairs", type=Whole(1), metavar="N", help="Try N pairs of faults at once in place of single ones, drawn from the seed."),
    seed_option(),
    option("--seeds", type=Whole(1, 1000), default=1,
           help="Try each fault with N seeds: a fault that the plan catches with some of them alone is caught by luck."),
    flag("--whole", help="Do not end a run at the first catch, to see all limits that catch a fault."),
    option("--jobs", type=Whole(1, 1024), metavar="N", help="Try N faults at a time.  [default: one for each processor]"),
    path_option("--argued", help="The file that argues for escapes.  [default: escapes/ beside the plan, if it exists]"),
    path_option("--cache", metavar="FOLDER", there=False,
                help="Keep results in this folder, and try again only what a change of the plan can reach."),
    to="reaching",
    make=dict,
)  # fmt: skip
_outputs = grouped(
    json_option("One JSON document with all that is known of each fault."),
    path_option("--junit", help="Write JUnit XML too: one test case for each fault."),
    path_option("--page", help="Write a page for a browser too: which step notices which fault, what escapes, and why."),
    path_option("--keep", help="With one --fault: write its device file, to run or to hand over."),
    path_option("--propose", there=False,
                help="Write what would catch the escapes: steps and limits that the sound device passes, as YAML."),
    path_option("--take", metavar="PLAN", there=False, help="Write the plan with all of these taken; its comments stay."),
    flag("--force", help="Write over what --keep, --propose and --take name."),
    option("--fail-under", type=Share(), default="100 %",
           help="Exit with 1 when a smaller share of the faults is caught, with the right cause."),
    to="outputs",
    make=Outputs,
)  # fmt: skip


@click.command(short_help="See which faulty units a plan would pass.")
@click.argument("plan", type=click.Path(path_type=Path))
@radio_options(help="The device files of the sound device: virtual:FILE[,FILE…].")
@given_option()
@limits_option()
@flag("--list", "only_list", help="List the faults of the device, and run nothing.")
@flag("--acknowledge", help="The plan runs other programs, and you want them to run for each fault.")
@_reaching
@_outputs
def escapes(plan: Path, radio: RadioWords, given: tuple[str, ...], limits: Path | None, only_list: bool,
            acknowledge: bool, reaching: dict[str, Any], outputs: Outputs) -> None:  # fmt: skip
    """Break a simulated device in every way in which devices break, run PLAN on each, and list what escapes: the faulty
    units that the plan would pass.

    The sound device has to pass first. Each fault is one run in memory, on all processors. A fault that the plan notices
    and puts on whom it is not counts as not caught.

    Exits with 0 when the share of --fail-under is caught, with 1 when it is not, with 2 when it was interrupted, with 3
    when benchrig could not try a fault, with 4 when plan, device or arguments are wrong or the sound device does not pass.

    \b
    Example:
      benchrig escapes testplans/end_of_line.yaml --radio virtual:testplans/devices/logger.yaml
      benchrig escapes testplans/end_of_line.yaml --radio virtual:testplans/devices/logger.yaml --list
      benchrig escapes testplans/end_of_line.yaml --radio virtual:testplans/devices/logger.yaml \\
        --fault 'battery level: missing' --keep broken.yaml
      benchrig escapes testplans/end_of_line.yaml --radio virtual:testplans/devices/logger.yaml \\
        --fail-under '98 %' --junit escapes.xml
    """
    with errors_for_people():
        _check_together(outputs, reaching, only_list=only_list)
        options = _options(plan, radio, given, limits, reaching, acknowledge=acknowledge)
        if only_list:
            _list(options, as_json=outputs.as_json)
            return
        check_programs(options.plan, "for each fault", acknowledge=acknowledge)
        _make_way(outputs, options)
        hunted = _hunt(options)
        _leave(hunted, options, outputs)
        if (outputs.propose or outputs.take) and not hunted.interrupted:
            _propose(hunted, options, given, outputs)
        sys.exit(_code(hunted, outputs.fail_under))


def _check_together(outputs: Outputs, reaching: dict[str, Any], *, only_list: bool) -> None:
    several = [
        word for word, key in (("--fault", "names"), ("--pairs", "pairs"), ("--families", "families")) if reaching[key]
    ]
    if len(several) > 1:
        raise UsageError(f"{' and '.join(several)} exclude each other", advice="give one of them")
    if outputs.keep and (len(reaching["names"]) != 1 or only_list):
        raise UsageError("--keep goes with one --fault", advice="for example: --fault 'battery level: missing'")


def _options(path: Path, radio: RadioWords, given: tuple[str, ...], limits: Path | None,
             reaching: dict[str, Any], *, acknowledge: bool) -> HuntOptions:  # fmt: skip
    from benchrig.cli.given import values_for
    from benchrig.escapes.launch import HuntOptions
    from benchrig.plan.loader import load_plan

    if not radio.radio:
        raise UsageError("--radio is missing: which device is to be broken", advice="write --radio virtual:FILE")
    values, seed = values_for(path, {}, given), reaching["seed"]

    def other(plan: Path) -> Plan:
        """A plan that escapes are left to gets those of the values that it asks for."""
        asked = load_plan(plan, names_will_do=True).given
        made = load_plan(plan, {name: value for name, value in values.items() if name in asked}, seed=seed)
        check_programs(made, "for each fault", acknowledge=acknowledge)
        return made

    made = {**reaching, "families": _families(reaching["families"]), "pairs": reaching["pairs"] or 0}
    if made["jobs"] is None:
        del made["jobs"]
    return HuntOptions(load_plan(path, values, seed=seed, limits=limits), radio.choice(), other, **made)


def _families(words: tuple[str, ...]) -> tuple[str, ...]:
    from benchrig.faults.registry import FAMILIES
    from benchrig.source.problem import suggest

    names = [name.strip() for word in words for name in word.split(",")]
    for name in names:
        if name not in FAMILIES:
            raise UsageError(f"unknown family of faults '{name}'", advice=suggest(name, FAMILIES))
    return tuple(names)


def _make_way(outputs: Outputs, options: HuntOptions) -> None:
    """An earlier file must not be taken for the one of this hunt, and none that it reads may be written over."""
    from benchrig.escapes.argued import beside
    from benchrig.escapes.page.whole import BEGINS
    from benchrig.files import is_special, writable
    from benchrig.report.files.junit import REPORT
    from benchrig.report.place import clear, make_way
    from benchrig.report.registry import ReportChoice

    others = {"--keep": outputs.keep, "--page": outputs.page, "--propose": outputs.propose, "--take": outputs.take}
    devices = dict.fromkeys(path.resolve() for path in options.radio.files)
    read: dict[str, Path | None] = {f"the device file {path.name}": path for path in devices}
    read["the argued file"] = options.argued or beside(options.plan.path)
    read["the limit set"] = options.plan.limits_file
    make_way([ReportChoice(REPORT, outputs.junit)], {"the plan": options.plan.path, **read, **others})
    if outputs.page:
        clear("--page", BEGINS, outputs.page)
    for path in (outputs.keep, outputs.propose, outputs.take):
        if path and not is_special(path):
            writable(path, force=outputs.force)


def _list(options: HuntOptions, *, as_json: bool) -> None:
    from benchrig.escapes.launch import chosen_faults, sound_scene
    from benchrig.escapes.results import About, order

    sound = sound_scene(options.radio)
    faults = sorted(chosen_faults(options, sound), key=order)
    with whatever_the_output_does():
        if as_json:
            print_json({"device": sound.unit.name, "faults": [About.of(fault) for fault in faults]})
        else:
            from benchrig.cli.escapes_text import EscapesPage

            EscapesPage().faults(faults)


def _hunt(options: HuntOptions) -> Hunted:
    from benchrig.escapes.launch import hunted
    from benchrig.run.unattended import Unattended
    from benchrig.terminal.waiting import status_line

    with status_line() as show:
        signals.let_through()
        show("the sound device first")
        try:
            return hunted(options, Unattended(), partial(_progress, show))
        finally:
            signals.hold()


def _progress(show: Callable[[str], None], count: int) -> Told:
    """'120 of 334 faults, 8 escaped'."""
    done: list[Result] = []

    def told(result: Result) -> None:
        done.append(result)
        escaped = sum(each.outcome in ("escaped", "by luck") for each in done)
        show(f"{len(done)} of {count} faults, {escaped} escaped")

    return told


def _leave(hunted: Hunted, options: HuntOptions, outputs: Outputs) -> None:
    """The outputs, all that were asked for."""
    from datetime import datetime

    from benchrig.escapes.junit import junit_xml
    from benchrig.escapes.page.whole import page
    from benchrig.files import write_whole

    if outputs.junit:
        write_whole(outputs.junit, junit_xml(hunted), advice="give another file to --junit")
    if outputs.page:
        write_whole(outputs.page, page(hunted, datetime.now().astimezone()), advice="give another file to --page")
    if outputs.keep:
        write_whole(outputs.keep, _device_text(options, hunted).encode(), advice="give another file to --keep")
    with whatever_the_output_does(verdict=True):
        if outputs.as_json:
            print_json(hunted)
        else:
            from benchrig.cli.escapes_text import EscapesPage

            EscapesPage().show(hunted, at_length=bool(options.names))
            if outputs.keep:
                echo(f"device file: {outputs.keep}")


def _propose(hunted: Hunted, options: HuntOptions, given: tuple[str, ...], outputs: Outputs) -> None:
    """What would catch the escapes, as proposals and as a plan."""
    from benchrig.cli.given import values_for
    from benchrig.escapes.proposals.launch import check_taken, proposed
    from benchrig.files import write_whole
    from benchrig.run.unattended import Unattended
    from benchrig.source.problem import counted
    from benchrig.terminal.waiting import status_line

    values = values_for(options.plan.path, {}, given)
    with status_line() as show:
        show("looking for what would catch the escapes")
        made, text = proposed(options, values, hunted, Unattended(), show)
    if outputs.propose:
        write_whole(outputs.propose, text.encode(), advice="give another file to --propose")
    if outputs.take:
        check_taken(outputs.take, made.text, values, options.plan.limits_file)
        write_whole(outputs.take, made.text.encode(), advice="give another file to --take")
    caught, left = sum(len(choice.catches) for choice in made.choices), len(made.left)
    with whatever_the_output_does(verdict=True):
        echo(f"{counted(len(made.choices), 'proposal')}: {counted(caught, 'escape')} caught, {left} left", err=True)
        for word, path in (("proposals", outputs.propose), ("plan", outputs.take)):
            if path:
                echo(f"{word}: {path}", err=True)


def _device_text(options: HuntOptions, hunted: Hunted) -> str:
    """The broken device as a file. UsageError for a fault of the station, which no device file can say."""
    from benchrig.escapes.launch import chosen_faults, sound_scene
    from benchrig.radio.virtual.writing import devices_text

    sound = sound_scene(options.radio)
    [fault] = chosen_faults(options, sound)
    broken = fault.scene(sound)
    if broken.unit == sound.unit:
        raise UsageError(f"'{fault.name}' is not a fault of the device", advice="leave --keep out")
    return devices_text(broken.devices, [f"{sound.unit.name} with a fault: {fault.name}", fault.says])


def _code(hunted: Hunted, fail_under: float) -> int:
    if hunted.interrupted:
        return INTERRUPTED
    if hunted.of("failed"):
        return INTERNAL
    if hunted.share is None:  # of all faults of the device none was to be caught: that proves nothing
        return int(hunted.coverage is not None and fail_under > 0)
    return int(hunted.share < fail_under)
