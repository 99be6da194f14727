"""`benchrig history`: what was measured, over all runs. Each command has a file of its own."""

from __future__ import annotations

import importlib

import click

COMMANDS = ("add", "rebuild", "check", "deliver", "runs", "unit", "readings", "export")


class _Commands(click.Group):
    """Each is loaded when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = getattr(importlib.import_module(f"benchrig.cli.history_{cmd_name}"), cmd_name)
        return command


@click.group(cls=_Commands, short_help="Keep and ask the history of all runs.")
def history() -> None:
    """Keep an index over the records of all runs, and ask it. The records stay the truth: the history can be thrown away and
    rebuilt from them.

    \b
    Example:
      benchrig history rebuild results
      benchrig history runs --verdict fail --since 2026-11-01
      benchrig history unit VFL3-000042
    """
