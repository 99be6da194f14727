"""`benchrig check`: plans without a radio."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import flag, limits_option, option, path_option
from benchrig.cli.out import echo, whatever_the_output_does
from benchrig.errors import BenchrigError, PlanError

if TYPE_CHECKING:
    from benchrig.plan.model import Plan
    from benchrig.plan.tree import StepPlan
    from benchrig.station.station import Station


# Begins a line of a plan.
_OF_ARGUMENTS = re.compile(rb"^argued\s*:", re.MULTILINE)
_OF_LIMITS = re.compile(rb"^limit_set\s*:", re.MULTILINE)
_OF_PLANS = re.compile(rb"^(plan|steps)\s*:", re.MULTILINE)


@click.command(short_help="Check plans without touching a radio.")
@click.argument("plans", nargs=-1, type=click.Path(path_type=Path), metavar="PLAN…")
@option(
    "--set",
    "given",
    multiple=True,
    metavar="NAME=VALUE",
    help="A value the plan asks for; checked as well. A secret one as NAME=@FILE or NAME=@env:VARIABLE.",
)
@option("--radio", metavar="RADIO", help="Also say what this radio does not offer: host, hci:…, virtual:…")
@path_option(
    "--station",
    help="Also say what this station forbids, what its radio does not offer, and which values it does not give.",
)
@limits_option(several=True)
@flag("--schema", help="Print the JSON Schema of the plan language, for editors.")
@flag("--limits-schema", help="Print the JSON Schema of limit sets.")
def check(
    plans: tuple[Path, ...],
    given: tuple[str, ...],
    radio: str | None,
    station: Path | None,
    limits: tuple[Path, ...],
    schema: bool,
    limits_schema: bool,
) -> None:
    """Check plans: every mistake with file, line and column. Exits with 4 when there is one, with 7 when the station
    forbids a step. A file with names alone, for the commands that take a plan's names, is checked too, and one that
    argues for escapes. A limit set is checked with its plan: --limits.

    With --radio or --station, also note what a plan asks for and cannot have there. Notes do not change the exit
    code.

    \b
    Example:
      benchrig check testplans/*.yaml
      benchrig check testplans/nightly_regression.yaml --radio host
      benchrig check testplans/end_of_line.yaml --station testplans/stations/line2.yaml
      benchrig check testplans/end_of_line.yaml --limits testplans/limits/pharma.yaml
      benchrig check --schema > plan.schema.json
    """
    if schema or limits_schema:
        _print_schema(of_limits=limits_schema)
        return
    if not plans:
        raise click.UsageError("name at least one plan, or --schema")
    with errors_for_people():
        from benchrig.station.station import load_station

        bench = load_station(station) if station else None
        kind = _kind(radio) if radio else _kind_of(bench, station) if bench and station else ""
        sets = _sets(plans, limits)
    codes = [_check(path, given, kind, bench, sets.get(path)) for path in plans]
    if code := max(codes, key=(0, 7, 4).index):
        sys.exit(code)


def _print_schema(*, of_limits: bool) -> None:
    from benchrig.plan.schema import limits_schema_text, plan_schema_text

    with whatever_the_output_does():
        echo(limits_schema_text() if of_limits else plan_schema_text())


def _sets(plans: tuple[Path, ...], limits: tuple[Path, ...]) -> dict[Path, Path]:
    """The limit set of each plan."""
    if not limits:
        return {}
    from benchrig.plan.limit_choice import limits_for

    return limits_for(plans, limits)


def _kind_of(bench: Station, path: Path) -> str:
    """The kind of a station's own radio, as a run would have it."""
    from benchrig.radio.specify import RadioChoice
    from benchrig.station.station import check_radio_files

    if not bench.radio:
        return ""
    choice = RadioChoice.parse(bench.radio)
    check_radio_files(choice, path)
    return choice.kind


def _kind(radio: str) -> str:
    """host, hci or virtual. A kind alone will do: nothing is opened."""
    from benchrig.radio.offers import LACKS
    from benchrig.radio.specify import RadioChoice

    return RadioChoice.parse(radio).kind if radio not in LACKS else radio


def _check(path: Path, given: tuple[str, ...], kind: str, station: Station | None, limits: Path | None) -> int:
    """Check one plan for a kind of radio, and say so; the exit code."""
    from benchrig.radio.offers import CANNOT
    from benchrig.run.station import forbidden
    from benchrig.source.problem import counted

    try:
        if (arguments := _arguments(path)) is not None:
            echo(f"{path}: OK, {counted(arguments, 'argument')} for escapes")
            return 0
        if (overridden := _limit_set(path)) is not None:
            echo(
                f"{path}: OK, {counted(overridden, 'limit')}: check them with the plan: benchrig check PLAN --limits {path}"
            )
            return 0
        if (names := _names_alone(path)) is not None:
            echo(f"{path}: OK, {counted(names, 'name')}: for use: of plans, and --plan of the commands without a plan")
            return 0
        plan, missing = _loaded(path, given, station, limits)
    except PlanError as error:
        echo(str(error), err=True)
        echo(f"{path}: {counted(len(error.problems), 'problem')}", err=True)
        return 4
    except BenchrigError as error:
        echo(f"{path}: {error.message}\n  {error.advice}", err=True)
        return 7 if error.cause == "station" else 4
    barred = [*forbidden(plan.steps, station)] if station else []
    with whatever_the_output_does():
        echo(f"{path}: {_summary(plan)}")
        _remark(plan, kind, missing, barred)
        _remark_wires(plan, kind, station)
    return 7 if barred or any(step.kind.verb in CANNOT.get(kind, {}) for step in plan.steps) else 0


def _arguments(path: Path) -> int | None:
    """How many arguments for escapes are in a file; None for another file. PlanError."""
    from benchrig.source.problem import Problems
    from benchrig.source.yaml import file_bytes

    data = file_bytes(path, Problems(), str(path))
    if data is None or not _OF_ARGUMENTS.search(data):
        return None
    from benchrig.escapes.argued import load_argued, plan_of

    return len(load_argued(path, plan_of(path)).entries)


def _limit_set(path: Path) -> int | None:
    """How many limits are in a limit set, as far as that can be read without its plan; None for another file. PlanError."""
    from benchrig.source.problem import Problems
    from benchrig.source.yaml import file_bytes

    data = file_bytes(path, Problems(), str(path))
    if data is None or not _OF_LIMITS.search(data):
        return None
    from benchrig.plan.limit_sets import read_limit_set

    problems = Problems()
    found = read_limit_set(path, problems)
    problems.raise_if_any()
    assert found is not None
    return sum(len(limits) for _, limits in found.limits.values())


def _names_alone(path: Path) -> int | None:
    """How many names are in a file of names; None for another file. PlanError."""
    from benchrig.plan.own_names import is_names_file, names_in
    from benchrig.source.problem import Problems
    from benchrig.source.yaml import file_bytes, read_bytes

    data = file_bytes(path, Problems(), str(path))
    if data is None or _OF_PLANS.search(data):  # a long plan need not be read twice
        return None
    node, problems = read_bytes(data, str(path), Problems()), Problems()
    if node is None or not is_names_file(node):
        return None
    names = names_in(path, node, problems)
    problems.raise_if_any()
    return len(names.aliases)


def _summary(plan: Plan) -> str:
    from benchrig.source.problem import counted

    if not plan.steps:
        return f"OK, {len(plan.names.aliases)} names and no steps: for --plan of the commands without a plan"
    limits = sum(len(step.limit_names) for step in plan.steps)
    held = f"{counted(sum(step.counts for step in plan.steps), 'step')}, {counted(limits, 'limit')}"
    return "; ".join([f"OK, {held}", *_limits(plan), *_more(plan), *["has a caution"] * bool(plan.caution)])


def _limits(plan: Plan) -> Iterator[str]:
    from benchrig.text.escape import plain

    if plan.limit_set is not None:
        yield plain(f"limit set {plan.limit_set.name}, version {plan.limit_set.version}")


def _more(plan: Plan) -> Iterator[str]:
    """What else tells how large the plan is: devices, repetitions, variants, and what the given values leave out."""
    from benchrig.plan.conditions import part_of
    from benchrig.source.nodes import plain
    from benchrig.source.problem import counted

    if len(plan.devices) > 1:
        yield f"devices: {', '.join(plan.devices)}"
    rounds = [(step.name, plain(step.node).get(step.kind.verb)) for step in plan.steps if step.role == "repeat"]
    if rounds:
        yield f"repeats {', '.join(f'{name} {_times(times)}' for name, times in rounds)}"
    if plan.variants:
        yield f"variants: {', '.join(f'{table} {row}' for table, row in plan.variants.items())}"
    left_out = len(plan.steps) - sum(1 for _ in part_of(plan.nodes, plan.values, plan.kinds))
    if left_out:
        yield f"the given values leave out {counted(left_out, 'step')}"


def _times(repeat: object) -> str:
    """'50 times', 'for 8 h', 'for 3 values of mode'."""
    if isinstance(repeat, dict):
        return ", ".join(f"for each of {len(values)} values of {name}" for name, values in repeat.items())
    return f"{repeat} times" if str(repeat).isdecimal() else f"for {repeat}"


def _loaded(path: Path, given: tuple[str, ...], station: Station | None, limits: Path | None) -> tuple[Plan, list[str]]:
    """The plan, and the values that neither station nor command line gives."""
    from benchrig.cli.given import values_for
    from benchrig.plan.given import MissingGiven
    from benchrig.plan.loader import load_plan

    forbid = station.forbid if station else []
    plan = load_plan(path, names_will_do=True, forbid=forbid, limits=limits)
    values = values_for(path, station.given if station else {}, given, forbid)
    if not values and station is None:
        return plan, []
    try:
        return load_plan(path, values, names_will_do=True, forbid=forbid, limits=limits), []
    except MissingGiven as error:
        if station is None:
            raise
        return plan, [*error.missing]


def _remark(plan: Plan, kind: str, missing: list[str], barred: list[StepPlan]) -> None:
    """Say what the plan asks of radio and station in vain; the `barred` steps cannot run there."""
    from benchrig.plan.remarks import hints, remarks
    from benchrig.plan.tree import place_text

    for where, sentence in hints(plan):
        echo(f"{where}: {sentence}")
    if kind:
        for where, sentence in remarks(plan, kind):
            echo(f"{where}: on the {kind} radio {sentence}")
    for name in missing:
        echo(f"{plan.path}: the value '{name}' comes neither from the station nor from --set: the run asks for it")
    for step in barred:
        echo(f"{place_text(step.place)}: the station forbids {step.kind.verb} steps: '{step.name}' cannot run there")


def _remark_wires(plan: Plan, kind: str, station: Station | None) -> None:
    """Say which steps need a console or a switch that the station does not name; a virtual radio has both."""
    from benchrig.plan.conditions import part_of
    from benchrig.plan.tree import place_text
    from benchrig.run.station import unwired

    meant = part_of(plan.nodes, plan.values, plan.kinds)
    for step, wire in unwired(meant, station) if station and kind != "virtual" else ():
        beside = " without --console" if wire == "console" else ""
        echo(f"{place_text(step.place)}: the station names no {wire}: '{step.name}' cannot run there{beside}")
