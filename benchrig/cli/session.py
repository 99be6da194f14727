"""`benchrig session`: a conversation with one device."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from benchrig import terminal
from benchrig.cli.desk import at_desk, caution_at_hand, device_options, not_acknowledged
from benchrig.cli.options import acknowledge_option, flag, json_option
from benchrig.cli.out import echo, print_json, tell, whatever_the_output_does
from benchrig.errors import BenchrigError
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions
    from benchrig.desk.prompt.session import Session


@click.command(short_help="Stay connected to a device, at a prompt.")
@flag("--reconnect", help="Look for the device again when the link is lost.")
@acknowledge_option()
@json_option("One JSON line for each result.")
@device_options
def session(reconnect: bool, acknowledge: bool, as_json: bool, desk: DeskOptions) -> None:
    """Connect and stay connected, with a prompt that takes verbs: scan, connect, table, read, write, watch, wait and
    more; `help` lists them, the tab key completes verbs and attributes. `save` writes what was done as a test plan.
    Ctrl-C stops a verb, Ctrl-D ends the session.

    Verbs can come from a pipe as well, one a line; the first that fails ends the session with its exit code, and
    values that did not fit their format make it end with 1. Lines that were typed are kept in
    $XDG_STATE_HOME/benchrig (~/.local/state/benchrig), values that were written too.

    \b
    Example:
      benchrig session -d 'VFL-*' -p product.yaml
      printf 'read temperature\\nwait 2 s\\nread temperature\\n' | benchrig session -d 'VFL-*'
    """
    from dataclasses import replace

    from benchrig.cli.session_text import lines
    from benchrig.text.wrapping import wrapped

    typed, wrapping = terminal.attended(), sys.stdout.isatty()
    options: dict[str, Any] = {"caution": caution_at_hand(), "acknowledged": acknowledge, "reconnect": reconnect}

    def show(result: dict[str, Any]) -> None:
        with whatever_the_output_does():
            if as_json:
                print_json(result)
            else:
                text = "\n".join(lines(result))
                echo(wrapped(text) if wrapping else text)

    work = _typed if typed else _piped
    at_desk(replace(desk, real_time=desk.real_time or typed), lambda at: work(at, show, options, as_json))


async def _nobody(caution: str) -> None:
    raise not_acknowledged()


async def _typed(at: Desk, show: Any, options: dict[str, Any], as_json: bool) -> None:
    from benchrig.cli.prompt import Prompt
    from benchrig.desk.prompt.session import Session
    from benchrig.text.wrapping import wrapped

    def failed(line: str, error: BenchrigError) -> None:
        if as_json:
            print_json(_failure(prompt.session, line, error))
        for text in (error.message, *([f"  {error.advice}"] if error.advice else [])):
            echo(wrapped(plain(text, 1000)), err=True)

    def session(ask: Any, changed: Any) -> Session:
        return Session(at, show, ask, thinned=not as_json, changed=changed, **options)

    prompt = Prompt(session, failed)
    tell("help lists the verbs, quit ends the session")
    await prompt.run()


async def _piped(at: Desk, show: Any, options: dict[str, Any], as_json: bool) -> None:
    from benchrig.desk.prompt.piped import run_lines
    from benchrig.desk.prompt.session import Session

    session = Session(at, show, _nobody, **options)

    def failed(line: str, error: Exception) -> None:
        if as_json and isinstance(error, BenchrigError):
            print_json(_failure(session, line, error))
            error.is_told = True
        tell(f"in '{line.strip()}':")

    await run_lines(session, sys.stdin.fileno(), failed)


def _failure(session: Session, line: str, error: BenchrigError) -> dict[str, Any]:
    """The verb of the line, and the attribute that it had come to."""
    verb = line.split()[0] if line.strip() else ""
    return {"verb": verb, **({"attribute": session.about} if session.about else {}), **error.data}
