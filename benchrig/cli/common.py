"""What the commands share: errors for people, exit codes, consoles."""

from __future__ import annotations

import json
import os
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.console import Console

    from benchrig.errors import BenchrigError

RADIO_HELP = (
    "How the unit is reached: host or host:ADAPTER (the operating system's Bluetooth), hci:usb:N, "
    "hci:serial:PORT[,SPEED] or hci:tcp:HOST:PORT (a controller of its own), or virtual:FILE[,FILE…] (simulated devices)."
)


PIPE_WIDTH = 120


@contextmanager
def errors_for_people() -> Iterator[None]:
    """Show benchrig's errors as text, with --json as data on standard output too, and end with the exit code of their
    cause."""
    from benchrig.errors import BenchrigError, PlanError

    try:
        yield
    except PlanError as error:
        click.echo(str(error), err=True)
        count = len(error.problems)
        click.echo(f"\n{count} problem{'s' if count != 1 else ''}; nothing was run.", err=True)
        _as_data(error)
        sys.exit(4)
    except BenchrigError as error:
        _as_data(error)
        _say(f"benchrig: {error.message}")
        if error.advice:
            _say(f"  {error.advice}")
        sys.exit({"plan": 4, "station": 7, "operator": 2, "internal": 3}.get(error.cause, 1))
    except click.Abort:
        raise
    except Exception as error:
        traceback.print_exc()
        click.echo(
            f"benchrig: internal error ({type(error).__name__}): please report it with the lines above", err=True
        )
        sys.exit(3)


def _say(text: str) -> None:
    """A sentence that may have words of a device in it."""
    from benchrig.report.escape import plain_lines

    # a closed pipe must not change the exit code
    with suppress(OSError):
        click.echo("\n".join(plain_lines(text, 1000)), err=True)


def _as_data(error: BenchrigError) -> None:
    """The error as a JSON document where the command was asked for those, and has not shown it in one already."""
    context = click.get_current_context(silent=True)
    if context is None or not context.params.get("as_json") or error.is_told:
        return
    with suppress(OSError):
        click.echo(json.dumps(error.data))


def console(*, stderr: bool = False) -> Console:
    """A console that respects NO_COLOR, CI, COLUMNS and pipes."""
    from rich.console import Console

    class Steady(Console):
        def on_broken_pipe(self) -> None:
            """rich would end the process with 1, which says that the unit failed."""
            raise BrokenPipeError

    plain = "CI" in os.environ and "FORCE_COLOR" not in os.environ
    stream = sys.stderr if stderr else sys.stdout
    # a pipe has no width of its own: give the table room
    width = None if stream.isatty() or "COLUMNS" in os.environ else PIPE_WIDTH
    return Steady(
        stderr=stderr, highlight=False, emoji=False, markup=False, no_color=True if plain else None, width=width
    )


@contextmanager
def whatever_the_output_does() -> Iterator[None]:
    """A pipe that was closed, a full disk or a terminal that is gone must not change what the process says."""
    from benchrig.errors import BenchrigError

    try:
        yield
        sys.stdout.flush()
    except OSError as error:
        if isinstance(error, BenchrigError):  # some are TimeoutErrors, and these are OSErrors
            raise
        # what is left in the buffer must not fail again when the interpreter ends
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        with suppress(OSError):
            if not isinstance(error, BrokenPipeError):
                click.echo(f"benchrig: the output cannot be written: {error.strerror or error}", err=True)


def attended() -> bool:
    """Whether a person sits at this terminal."""
    return sys.stdin.isatty() and sys.stdout.isatty() and "CI" not in os.environ


def complete_step(context: click.Context, _: click.Parameter, incomplete: str) -> list[str]:
    """Names of the steps of the plan on the command line, for the shell."""
    from benchrig.errors import BenchrigError
    from benchrig.plan.loader import load_plan

    # click stops at the option that has no value yet and leaves the plan among the words it did not come to
    path = context.params.get("plan") or next(iter(context.args), None)
    try:
        plan = load_plan(Path(path)) if path else None
    except BenchrigError:
        return []
    return [step.name for step in plan.steps if step.name.startswith(incomplete)] if plan else []
