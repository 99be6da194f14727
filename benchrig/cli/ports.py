"""The options that let a firmware of this machine join a virtual radio."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])

_OPTIONS = (
    click.option(
        "--port",
        "ports",
        multiple=True,
        metavar="PORT",
        help="An HCI port of the virtual radio for a firmware that runs on this machine: tcp:HOST:NUMBER or pty:PATH; "
        "may be given several times.",
    ),
    click.option(
        "--start",
        "starts",
        multiple=True,
        metavar="COMMAND",
        help="Run this beside the port, and end it afterwards; {port} in it becomes the port's address. The second "
        "command is for the second port, and so on.",
    ),
)


def port_options(command: Command) -> Command:
    """Add --port and --start; the command gets them as `ports` and `starts`."""
    decorated: Any = command
    for option in reversed(_OPTIONS):
        decorated = option(decorated)
    return decorated  # type: ignore[no-any-return]
