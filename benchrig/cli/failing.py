"""How a command that fails ends: its errors for people and for programs, and its exit code."""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import click

from benchrig.cli.out import echo, print_json, say, whatever_the_output_does
from benchrig.errors import BenchrigError, PlanError


@contextmanager
def errors_for_people() -> Iterator[None]:
    """Show benchrig's errors as text, with --json as data on standard output too, and end with the exit code of their
    cause."""
    try:
        yield
    except PlanError as error:
        from benchrig.source.problem import counted

        context = click.get_current_context(silent=True)
        ends = "; nothing was run." if context is not None and context.info_name == "run" else ""
        echo(f"{error}\n\n{counted(len(error.problems), 'problem')}{ends}", err=True)
        _as_data(error)
        sys.exit(4)
    except BenchrigError as error:
        _as_data(error)
        tell_failure(error.data)
        sys.exit(code_of(error.cause))


def _as_data(error: BenchrigError) -> None:
    """The error as a JSON document, where the command has not shown it in one already."""
    context = click.get_current_context(silent=True)
    words = context.find_root().obj if context is not None else None
    if not error.is_told:
        print_error(error.data, words or [])


def tell_failure(result: Mapping[str, Any]) -> None:
    """One of several results, for people."""
    say(f"benchrig: {result['error']}")
    if result.get("advice"):
        say(f"  {result['advice']}")


def code_of(cause: str) -> int:
    """The exit code of what failed for this cause."""
    return {"plan": 4, "station": 7, "operator": 2, "internal": 3}.get(cause, 1)


def print_error(data: dict[str, str], words: Sequence[str]) -> None:
    """What a command failed of, as a JSON document where its `words` ask for those."""
    if "--json" in words or "--format=json" in words or ("--format", "json") in itertools.pairwise(words):
        with whatever_the_output_does():
            print_json(data)
