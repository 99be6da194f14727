"""`benchrig twin`: a device file from a real device."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.collecting import CollectingWords, collecting_options, text_or_json
from benchrig.cli.desk import device_options
from benchrig.cli.options import flag, json_option, option, path_option
from benchrig.cli.out import echo, print_json, tell, whatever_the_output_does
from benchrig.cli.replaying import replay
from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.desk.desk import DeskOptions
    from benchrig.plan.model import Plan
    from benchrig.twin.seen import Seen
    from benchrig.twin.writing import Twin


@click.command(short_help="Write a simulated device from a real one.")
@path_option(
    "-o",
    "--output",
    "target",
    metavar="FILE",
    allow_dash=True,
    help="The device file to write; - for the standard output. With --of: twin.yaml in the folder of the run, where it is left out.",
)
@flag("--force", help="Write over a file that exists.")
@collecting_options("Connections to the device; everything is read twice in each.")
@path_option(
    "--from",
    "saved",
    multiple=True,
    help="Use no radio, but inspections that were saved; may be given several times. record.jsonl of runs, captures and .jsonl of benchrig watch say more.",
)
@path_option(
    "--with",
    "beside",
    multiple=True,
    help="Take these files too: record.jsonl of runs, captures (btsnoop), inspections, .jsonl of benchrig watch; may be given several times.",
)
@path_option(
    "--of",
    "run",
    metavar="RUN",
    help="Use no radio: make a twin that does what the unit did in this run (its folder, or its record), with the capture of --with, or the one in the folder.",
)
@flag("--check", help="With --of: run the plan on the twin, and end with exit code 1 where it does not fail alike.")
@option(
    "--set",
    "given",
    multiple=True,
    metavar="NAME=VALUE",
    help="With --of: a value that the plan asks for and the record does not have, since it is secret.",
)
@json_option("Say what was written, and what was not seen, as JSON.")
@device_options  # fmt: skip
def twin(
    target: Path | None, force: bool, looks: CollectingWords, saved: tuple[Path, ...], beside: tuple[Path, ...],
    run: Path | None, check: bool, given: tuple[str, ...], as_json: bool, desk: DeskOptions,
) -> None:  # fmt: skip
    """Connect to a device, and write a device file that behaves as the device was seen to: how it advertises, its table,
    its values and how they move, how often it sends, what it asks for. From records and captures of runs: what it did with each write.

    Each line says where it is from, and the head lists what was not seen: the file never says more than was seen. Nothing is
    written to the device but the descriptors that subscribing needs, and what --try-write names. The plan of a record is
    found where its run had it, or is that of --plan.

    \b
    Example:
      benchrig twin -o freezer.yaml -d 'Freezer-*'
      benchrig twin -o freezer.yaml -d 'Freezer-*' --with results/20261127-101500/record.jsonl
      benchrig twin -o freezer.yaml --from golden.json --from results/20261127-101500/record.jsonl
      benchrig twin --of results/20261127-101500 --with night.btsnoop --check
    """
    from benchrig.files import writable, write_whole
    from benchrig.twin.writing import twin_of

    if (check or given) and run is None:
        raise UsageError("--check and --set go with --of", advice="for example: --of results/20261127-101500 --check")
    to_output = text_or_json(target, as_json=as_json, what="device file", advice="write it to a file")
    if run is not None:
        if saved:
            raise UsageError("--of and --from exclude each other", advice="keep one of the two")
        plan = click.get_current_context().params.get("plan")
        replay(
            run, target, beside, plan, given, check=check, acknowledge=looks.acknowledge, force=force, as_json=as_json
        )
        return
    if target is None:
        raise UsageError("the file to write is missing", advice="add -o FILE")
    if saved and beside:
        raise UsageError("--from and --with exclude each other", advice="with --from, give all files with it")
    looks.check(desk)
    if not to_output:
        writable(target, force=force)
    made = twin_of(_seen(desk, saved, beside, looks))
    if not to_output:
        write_whole(target, made.text.encode(), advice="write it elsewhere")
    with whatever_the_output_does():
        _say(made, target, to_output=to_output, as_json=as_json)


def _seen(desk: DeskOptions, saved: tuple[Path, ...], beside: tuple[Path, ...], looks: CollectingWords) -> Seen:
    from benchrig.twin.from_files import seen_in

    plan = _plan()
    if saved:
        return seen_in(saved, desk.names, plan)
    return seen_in(beside, desk.names, plan, looks.evidence(desk))


def _plan() -> Plan | None:
    """That of --plan, where it is one with steps."""
    from benchrig.errors import PlanError
    from benchrig.plan.loader import load_plan

    path = click.get_current_context().params.get("plan")
    try:
        return load_plan(path) if path else None
    except PlanError:
        return None  # names alone: what is wrong with them is told where they are read


def _say(made: Twin, target: Path, *, to_output: bool, as_json: bool) -> None:
    from benchrig.source.problem import counted

    count = sum(len(service.characteristics) for service in made.device.services)
    sentence = f"{counted(count, 'characteristic')}; {counted(len(made.unseen), 'thing')} not seen, listed at the head"
    if to_output:
        echo(made.text, nl=False)
        tell(sentence)
    elif as_json:
        facts = {"file": str(target), "device": made.device.name, "characteristics": count}
        print_json(facts | {"sources": made.sources, "not_seen": made.unseen})
    else:
        echo(f"{target}: {sentence}")
