"""`benchrig check`: plans without a radio."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.common import echo, whatever_the_output_does

if TYPE_CHECKING:
    from benchrig.plan.model import Plan


@click.command(short_help="Check plans without touching a radio.")
@click.argument("plans", nargs=-1, type=click.Path(path_type=Path), metavar="PLAN…")
@click.option("--set", "given", multiple=True, metavar="NAME=VALUE", help="A value the plan asks for; checked as well.")
@click.option("--radio", metavar="RADIO", help="Also say what this radio does not offer: host, hci:…, virtual:…")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the plan language, for editors.")
def check(plans: tuple[Path, ...], given: tuple[str, ...], radio: str | None, schema: bool) -> None:
    """Check plans: every mistake with file, line and column. Exits with 4 when there is one.

    With --radio a remark follows for whatever a plan asks of that radio in vain; remarks are no mistakes.

    \b
    Example:
      benchrig check plans/*.yaml
      benchrig check plans/nightly.yaml --radio host
      benchrig check --schema > plan.schema.json
    """
    if schema:
        from benchrig.plan.schema import plan_schema_text

        with whatever_the_output_does():
            echo(plan_schema_text())
        return
    if not plans:
        raise click.UsageError("name at least one plan, or --schema")
    kind = _kind(radio) if radio else ""
    bad = sum(not _check(path, given, kind) for path in plans)
    if bad:
        sys.exit(4)


def _kind(radio: str) -> str:
    """host, hci or virtual. A kind alone will do: nothing is opened."""
    from benchrig.cli.common import errors_for_people
    from benchrig.radio.offers import LACKS
    from benchrig.radio.specify import RadioChoice

    with errors_for_people():
        return radio if radio in LACKS else RadioChoice.parse(radio).kind
    raise AssertionError("an error ends the command")


def _check(path: Path, given: tuple[str, ...], kind: str) -> bool:
    """Check one plan and say so; whether it is good."""
    from benchrig.cli.given import parse_given
    from benchrig.errors import BenchrigError, PlanError
    from benchrig.plan.loader import load_plan

    try:
        plan = load_plan(path, parse_given(given) if given else None)
    except PlanError as error:
        count = len(error.problems)
        echo(str(error), err=True)
        echo(f"{path}: {count} problem{'s' if count != 1 else ''}", err=True)
        return False
    except BenchrigError as error:
        echo(f"{path}: {error.message}\n  {error.advice}", err=True)
        return False
    limits = sum(len(step.limit_names) for step in plan.steps)
    caution = "; has a caution" if plan.caution else ""
    with whatever_the_output_does():
        echo(f"{path}: good. {len(plan.steps)} steps, {limits} limits{caution}")
        if kind:
            _remark(plan, kind)
    return True


def _remark(plan: Plan, kind: str) -> None:
    from benchrig.plan.remarks import remarks
    from benchrig.radio.offers import LACKS, MAY_FAIL

    for place, sentence in remarks(plan, LACKS[kind], MAY_FAIL[kind]):
        echo(f"{place}: on the {kind} radio {sentence}")
