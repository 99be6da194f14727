"""`benchrig completion`: the script that makes a shell complete commands, options and step names."""

from __future__ import annotations

import click

from benchrig.cli.out import echo, whatever_the_output_does

# Inside a quote that is open a word stands as it is.
_QUOTE = """if [[ ${COMP_WORDS[COMP_CWORD]} == [\\'\\"]* ]]; then
                COMPREPLY+=("$value")
            else
                COMPREPLY+=("$(printf '%q' "$value")")
            fi"""


@click.command(short_help="Print a shell completion script.")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print the completion script for a shell.

    \b
    Example:
      eval "$(benchrig completion bash)"
    """
    from click.shell_completion import get_completion_class

    kind = get_completion_class(shell)
    assert kind is not None
    main = click.get_current_context().find_root().command
    source = kind(main, {}, "benchrig", "_BENCHRIG_COMPLETE").source()
    with whatever_the_output_does():
        echo(_quoting(source) if shell == "bash" else source)


def _quoting(source: str) -> str:
    """Click's script for bash, made to quote: names of attributes and steps have blanks."""
    return source.replace("read type value", "read -r type value").replace("COMPREPLY+=($value)", _QUOTE)
