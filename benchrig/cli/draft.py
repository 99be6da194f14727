"""`benchrig draft`: a test plan from devices that are known to be good."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.collecting import CollectingWords, collecting_options, text_or_json
from benchrig.cli.desk import device_options
from benchrig.cli.options import flag, json_option, option, path_option
from benchrig.cli.out import echo, print_json, tell, whatever_the_output_does
from benchrig.cli.types import Percent, Whole
from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.desk.desk import DeskOptions
    from benchrig.draft.compose import Draft
    from benchrig.draft.evidence import Evidence
    from benchrig.plan.model import Plan


@click.command(short_help="Write a test plan from known-good devices.")
@path_option(
    "-o",
    "--output",
    "target",
    required=True,
    metavar="PLAN",
    allow_dash=True,
    help="The plan to write; - for the standard output.",
)
@flag("--force", help="Write over a plan that exists.")
@flag("--each", help="Draft from every device that matches the selection, one after the other.")
@option("--units", type=Whole(1, 1000), help="With --each: listen until N devices are heard, and fail if they are not.")
@collecting_options("Connections to each device; everything is read twice in each.")
@option(
    "--coverage", type=Percent(), default="99 %", help="Share of good values that a limit from statistics lets through."
)
@option("--confidence", type=Percent(), default="95 %", help="Confidence level of the tolerance interval.")
@path_option(
    "--from",
    "saved",
    multiple=True,
    help="Use no radio, but inspections that were saved or record.jsonl of runs; may be given several times.",
)
@json_option("Say what was drafted as JSON.")
@device_options
def draft(
    target: Path, force: bool, saved: tuple[Path, ...], coverage: float, confidence: float, as_json: bool,
    desk: DeskOptions, **how: Any,
) -> None:  # fmt: skip
    """Connect to devices that are known to be good, and write a plan that they pass: how they advertise, their table,
    a limit for every value that can be read, and how often they send.

    Nothing is written to a device but the descriptors that subscribing needs, and what --try-write names. A draft is
    what was seen, not what was specified: comments in it say where each limit comes from, and which are guesses. With
    several units the limits come from statistics. With --pair it has an access step: what each attribute asks for, over
    links that are protected more and more. Each of them is paired for, without a bond.

    \b
    Example:
      benchrig draft -o freezer.yaml -d 'Freezer-*'
      benchrig draft -o freezer.yaml -d 'Freezer-*' --each --repeat 3
      benchrig draft -o freezer.yaml -d 'Freezer-*' --pair keyboard --try-write 'alarm limit'
      benchrig draft -o freezer.yaml --from golden1.json --from golden2.json
    """
    from benchrig.draft.compose import compose
    from benchrig.draft.saving import read_back, save
    from benchrig.files import writable
    from benchrig.propose.proposal import Basis

    to_output = text_or_json(target, as_json=as_json, what="plan", advice="write the plan to a file")
    if not to_output:
        writable(target, force=force)
    evidence = _evidence(desk, saved, **how)
    made = compose(evidence, desk.names, Basis(coverage, confidence), desk.selection)
    plan = read_back(made.text) if to_output else save(made.text, target, force=force)
    with whatever_the_output_does():
        _say(made, plan, target, to_output=to_output, as_json=as_json)


def _evidence(
    desk: DeskOptions, saved: tuple[Path, ...], *, each: bool, units: int | None, looks: CollectingWords
) -> Evidence:
    from benchrig.draft.from_files import evidence_from
    from benchrig.radio.scan import Selection

    if saved:
        return evidence_from(saved)
    looks.check(desk)
    if units and not each:
        raise UsageError("--units goes with --each", advice=f"--each --units {units}")
    if each and desk.selection == Selection():
        raise UsageError(
            "--each would take every device on the air", advice="say which: --device, --service or --manufacturer"
        )
    return looks.evidence(desk, each=each, units=units or 1)


def _say(made: Draft, plan: Plan, target: Path, *, to_output: bool, as_json: bool) -> None:
    from benchrig.source.problem import counted

    counts = {
        "steps": len(plan.steps),
        "limits": sum(len(step.limit_names) for step in plan.steps),
        "guesses": made.guesses,
    }
    if made.warning and (to_output or not as_json):
        tell(f"note: {made.warning}")
    held = f"{counted(counts['steps'], 'step')}, {counted(counts['limits'], 'limit')}"
    sentence = f"{held}, {counts['guesses']} of them guesses, from {counted(len(made.units), 'unit')}"
    if to_output:
        echo(made.text, nl=False)
        tell(sentence)
    elif as_json:
        print_json({"plan": str(target), **counts, "devices": made.units, "warning": made.warning})
    else:
        echo(f"{target}: {sentence}")
