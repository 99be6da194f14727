"""`benchrig check`: plans without a radio."""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.command(short_help="Check plans without touching a radio.")
@click.argument("plans", nargs=-1, type=click.Path(path_type=Path), metavar="PLAN…")
@click.option("--set", "given", multiple=True, metavar="NAME=VALUE", help="A value the plan asks for; checked as well.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the plan language, for editors.")
def check(plans: tuple[Path, ...], given: tuple[str, ...], schema: bool) -> None:
    """Check plans: every mistake with file, line and column. Exits with 4 when there is one.

    \b
    Example:
      benchrig check plans/*.yaml
      benchrig check --schema > plan.schema.json
    """
    if schema:
        from benchrig.plan.schema import plan_schema_text

        click.echo(plan_schema_text())
        return
    if not plans:
        raise click.UsageError("name at least one plan, or --schema")
    bad = sum(not _check(path, given) for path in plans)
    if bad:
        sys.exit(4)


def _check(path: Path, given: tuple[str, ...]) -> bool:
    """Check one plan and say so; whether it is good."""
    from benchrig.cli.given import parse_given
    from benchrig.errors import BenchrigError, PlanError
    from benchrig.plan.loader import load_plan

    try:
        plan = load_plan(path, parse_given(given) if given else None)
    except PlanError as error:
        count = len(error.problems)
        click.echo(str(error), err=True)
        click.echo(f"{path}: {count} problem{'s' if count != 1 else ''}", err=True)
        return False
    except BenchrigError as error:
        click.echo(f"{path}: {error.message}\n  {error.advice}", err=True)
        return False
    limits = sum(step.limit_count for step in plan.steps)
    caution = "; has a caution" if plan.caution else ""
    click.echo(f"{path}: good. {len(plan.steps)} steps, {limits} limits{caution}")
    return True
