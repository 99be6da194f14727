"""The command line. One file a command; only here is anything printed.

What a command needs is imported when it runs, so that `--help` and completion are instant.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Any

import click

from benchrig import signals
from benchrig.cli.failing import print_error
from benchrig.cli.lazy import LazyGroup
from benchrig.cli.out import echo, whatever_the_output_does
from benchrig.lastwords import internal
from benchrig.version import __version__

COMMANDS = (
    "bonds", "capability", "check", "completion", "decode", "devices", "draft", "encode", "escapes", "example",
    "exchange", "gauge", "history", "inspect", "line", "packages", "page", "read", "ready", "rejects", "rejudge", "run", "scan",
    "session", "twin", "watch", "write", "yield",
)  # fmt: skip
# Each is the function of its name in the file of its name; one of Python's own words cannot be.
_NAMES = {each: {"yield": "yields"}.get(each, each) for each in COMMANDS}


@contextlib.contextmanager
def _exit_codes(words: list[str]) -> Iterator[None]:
    """Click's own codes mean something else here: its 2 for wrong usage, its 1 for Ctrl-C and for what breaks."""
    try:
        yield
    except click.UsageError as error:
        error.show()
        print_error({"error": error.format_message(), "advice": "", "cause": "plan"}, words)
        sys.exit(4)
    except (click.Abort, KeyboardInterrupt):
        echo("\nbenchrig: interrupted", err=True)
        sys.exit(2)
    except (click.exceptions.Exit, click.ClickException):
        raise
    except Exception as error:
        print_error({"error": f"{type(error).__name__}: {error}", "advice": "", "cause": "internal"}, words)
        sys.exit(internal(error))


class _Commands(LazyGroup):
    """All of them: whatever becomes of one, the exit code says it."""

    def make_context(self, info_name: str | None, args: list[str], *more: Any, **kwargs: Any) -> click.Context:
        words = [*args]
        with _exit_codes(words), whatever_the_output_does():
            context = super().make_context(info_name, args, *more, **kwargs)
            context.obj = words
            return context
        sys.exit(0)  # --help that nobody could read

    def invoke(self, ctx: click.Context) -> Any:
        try:
            with _exit_codes(ctx.obj):
                if ctx.obj[:1] != ["run"]:  # it lets them through when yesterday's report is gone
                    signals.let_through()
                return super().invoke(ctx)
        finally:
            signals.hold()


@click.group(
    cls=_Commands,
    files=_NAMES,
    functions=_NAMES,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="benchrig")
def main() -> None:
    """Run YAML test plans on Bluetooth LE devices and leave a verdict.

    benchrig replaces no radio or safety certification, no local code and no licensed practice. A write can move,
    heat or unlock a device, and a wrong one can disable it.

    \b
    Exit codes: 0 pass, 1 the unit failed, 2 interrupted, 3 internal error,
    4 plan or usage error, 5 nothing was judged, 7 the station could not test.
    """
