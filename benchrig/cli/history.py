"""`benchrig history`: what was measured, over all runs. Each command has a file of its own."""

from __future__ import annotations

import click

from benchrig.cli.lazy import LazyGroup

COMMANDS = ("add", "rebuild", "check", "deliver", "runs", "unit", "readings", "export")


@click.group(
    cls=LazyGroup,
    files={each: f"history_{each}" for each in COMMANDS},
    short_help="Keep and ask the history of all runs.",
)
def history() -> None:
    """Keep an index over the records of all runs, and ask it. The records stay the truth: the history can be thrown away and
    rebuilt from them.

    \b
    Example:
      benchrig history rebuild results
      benchrig history runs --verdict fail --since 2026-11-01
      benchrig history unit VFL3-000042
    """
