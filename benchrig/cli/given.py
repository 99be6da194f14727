"""`--set name=value`, and values that a person types or scans when they are missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.plan.model import Given, Plan


def parse_given(pairs: Iterable[str]) -> dict[str, str]:
    """Names and values of `name=value` words. UsageError for a word without '=' and for a name twice."""
    given: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or not name:
            raise UsageError(f"'{pair}' is no NAME=VALUE", advice="for example: --set serial=VFL3-000042")
        if name in given:
            raise UsageError(f"'{name}' is set twice")
        given[name] = value
    return given


def load_with_given(path: Path, given: Mapping[str, str], *, ask: bool) -> Plan:
    """The plan with its values. Missing ones are asked for at the terminal when `ask` (a barcode reader types too)."""
    from benchrig.plan.loader import MissingGiven, load_plan

    values = dict(given)
    try:
        return load_plan(path, values)
    except MissingGiven as missing:
        if not ask:
            raise
        click.echo(f"{path}: values are needed", err=True)
        for name, spec in missing.missing.items():
            values[name] = _ask(name, spec)
    return load_plan(path, values)


def _ask(name: str, spec: Given) -> str:
    """Until the answer satisfies the plan's limit: a barcode is easily read from the wrong label."""
    from benchrig.cli.operator import forget_typed_ahead
    from benchrig.source.shape import LooseText

    forget_typed_ahead()
    while True:
        value: str = click.prompt(name, prompt_suffix=": ", err=True).strip()
        problem = spec.problem_with(LooseText(value))
        if not problem:
            return value
        click.echo(f"  {problem}", err=True)
