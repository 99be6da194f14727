"""`benchrig completion`: the script that makes a shell complete commands, options and step names."""

from __future__ import annotations

import click

from benchrig.cli.common import echo


@click.command(short_help="Print a shell completion script.")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print the completion script for a shell.

    \b
    Example:
      eval "$(benchrig completion bash)"
    """
    from click.shell_completion import get_completion_class

    from benchrig.cli import main
    from benchrig.cli.common import whatever_the_output_does

    kind = get_completion_class(shell)
    assert kind is not None
    with whatever_the_output_does():
        echo(kind(main, {}, "benchrig", "_BENCHRIG_COMPLETE").source())
