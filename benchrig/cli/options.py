"""Options as commands have them: with the default that counts, and those that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from benchrig.cli.types import Whole

Decorator = Callable[[Any], Any]


def option(*names: str, help: str, **how: Any) -> Decorator:
    """An option that shows its default."""
    return click.option(*names, help=help, show_default=how.get("default", "") != "", **how)


def flag(*names: str, help: str) -> Decorator:
    return click.option(*names, help=help, is_flag=True)


def path_option(
    *names: str, metavar: str = "FILE", there: bool = False, allow_dash: bool = False, **how: Any
) -> Decorator:
    """A file; one that must be `there`."""
    path = click.Path(exists=there, dir_okay=not there, allow_dash=allow_dash, path_type=Path)
    return click.option(*names, metavar=metavar, type=path, **how)


def json_option(help: str = "One JSON document.") -> Decorator:
    return flag("--json", "as_json", help=help)


def acknowledge_option() -> Decorator:
    return flag("--acknowledge", help="You have read the plan's caution and done what it says.")


def given_option() -> Decorator:
    return option(
        "--set",
        "given",
        multiple=True,
        metavar="NAME=VALUE",
        help="A value the plan asks for; a secret one as NAME=@FILE or NAME=@env:VARIABLE.",
    )


def limits_option(several: bool = False) -> Decorator:
    """A limit set; where a call has several plans, one for each."""
    text = "Judge by this limit set: its limits replace those of the plan that it names."
    more = " May be given several times, for several plans." if several else ""
    return path_option("--limits", help=text + more, multiple=several, there=True)


def seed_option() -> Decorator:
    return click.option("--seed", type=Whole(0), default=0, help="Seed of everything random on a virtual radio.")


def real_time_option() -> Decorator:
    return flag("--real-time", help="Let a virtual radio take the time a real one would.")


def history_option() -> Decorator:
    return option(
        "--history",
        default="",
        metavar="FILE|URL",
        help="The history of runs: a file, or postgresql://USER@HOST/DATABASE with the password in PGPASSWORD or ~/.pgpass. "
        "Default: that of the station file, else BENCHRIG_HISTORY, else history.sqlite in the results folder where it is there.",
    )
