"""What the commands share: errors for people, exit codes, consoles."""

from __future__ import annotations

import itertools
import json
import os
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from benchrig.lastwords import output_was_lost

if TYPE_CHECKING:
    from rich.console import Console

    from benchrig.errors import BenchrigError

Command = TypeVar("Command", bound=Callable[..., Any])
RADIO_HELP = (
    "How the unit is reached: host or host:ADAPTER (the operating system's Bluetooth), hci:usb:N, "
    "hci:serial:PORT[,SPEED] or hci:tcp:HOST:PORT (a controller of its own), or virtual:FILE[,FILE…] (simulated devices)."
)

AIRS = ("kind", "rough", "crowded", "far")
AIR_HELP = (
    "The air of a virtual radio: kind, rough as at a bench, crowded as in a hall full of units, or far as at the edge "
    "of the range. Default: what its device files say, else kind."
)
PIPE_WIDTH = 120


def air_option() -> Callable[[Command], Command]:
    return click.option("--air", type=click.Choice(AIRS), help=AIR_HELP)


@contextmanager
def errors_for_people() -> Iterator[None]:
    """Show benchrig's errors as text, with --json as data on standard output too, and end with the exit code of their
    cause."""
    from benchrig.errors import BenchrigError, PlanError

    try:
        yield
    except PlanError as error:
        echo(str(error), err=True)
        count = len(error.problems)
        echo(f"\n{count} problem{'s' if count != 1 else ''}; nothing was run.", err=True)
        _as_data(error)
        sys.exit(4)
    except BenchrigError as error:
        _as_data(error)
        _say(f"benchrig: {error.message}")
        if error.advice:
            _say(f"  {error.advice}")
        sys.exit(code_of(error.cause))


def _say(text: str) -> None:
    """A sentence that may have words of a device in it."""
    from benchrig.text.escape import plain_lines

    echo("\n".join(plain_lines(text, 1000)), err=True)


def _as_data(error: BenchrigError) -> None:
    """The error as a JSON document, where the command has not shown it in one already."""
    context = click.get_current_context(silent=True)
    words = context.find_root().obj if context is not None else None
    if not error.is_told:
        print_error(error.data, words or [])


def code_of(cause: str) -> int:
    """The exit code of what failed for this cause."""
    return {"plan": 4, "station": 7, "operator": 2, "internal": 3}.get(cause, 1)


def print_error(data: dict[str, str], words: Sequence[str]) -> None:
    """What a command failed of, as a JSON document where its `words` ask for those."""
    if "--json" in words or "--format=json" in words or ("--format", "json") in itertools.pairwise(words):
        with whatever_the_output_does():
            echo(json_line(data))


def echo(text: str = "", *, err: bool = False, nl: bool = True) -> None:
    """Print, at once; the one place where a command does so."""
    stream = sys.stderr if err else sys.stdout
    stream.write(text + "\n" * nl)
    stream.flush()


def json_line(data: Any) -> str:
    """Data as JSON on one line, for the standard output: a program gets text as it is where the character set has
    it; what steers a terminal must not reach one."""
    return json.dumps(data, ensure_ascii=is_ascii_due())


def is_ascii_due() -> bool:
    """Whether JSON on the standard output has to escape what is not ASCII."""
    return (sys.stdout.encoding or "").lower().replace("-", "") != "utf8" or sys.stdout.isatty()


def console(*, stderr: bool = False) -> Console:
    """A console that respects NO_COLOR, CI, COLUMNS and pipes."""
    from rich.console import Console

    class Steady(Console):
        def on_broken_pipe(self) -> None:
            """rich would end the process with 1, which says that the unit failed."""
            raise BrokenPipeError

    plain = "CI" in os.environ and "FORCE_COLOR" not in os.environ
    stream = sys.stderr if stderr else sys.stdout
    return Steady(
        stderr=stderr, highlight=False, emoji=False, markup=False, no_color=True if plain else None,
        width=_width(is_terminal=stream.isatty()),
    )  # fmt: skip


def _width(*, is_terminal: bool) -> int | None:
    """COLUMNS, where that is a width; None for that of the terminal. A pipe has none of its own: give tables room."""
    said = os.environ.get("COLUMNS")
    if said is None:
        return None if is_terminal else PIPE_WIDTH
    if said.isdecimal() and int(said) > 0:
        return int(said)
    return shutil.get_terminal_size().columns if is_terminal else PIPE_WIDTH


@contextmanager
def whatever_the_output_does(*, verdict: bool = False) -> Iterator[None]:
    """A pipe that was closed, a full disk or a terminal that is gone must not change what the process says. `verdict`:
    nor must results that were lost, as they are in the exit code too."""
    from benchrig.errors import BenchrigError

    try:
        yield
        sys.stdout.flush()
    except OSError as error:
        if isinstance(error, BenchrigError):  # some are TimeoutErrors, and these are OSErrors
            raise
        output_was_lost(error, results=not verdict)


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
