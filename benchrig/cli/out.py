"""What a command prints: the one place where it does so, whatever its outputs do."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from benchrig.errors import BenchrigError
from benchrig.lastwords import output_was_lost
from benchrig.text.escape import plain, plain_lines


def echo(text: str = "", *, err: bool = False, nl: bool = True) -> None:
    """Print, at once."""
    stream = sys.stderr if err else sys.stdout
    stream.write(text + "\n" * nl)
    stream.flush()


def say(text: str) -> None:
    """Something beside the results that may have words of a device in it; line by line."""
    echo("\n".join(plain_lines(text, 1000)), err=True)


def tell(sentence: str) -> None:
    """The same, of one line."""
    echo(plain(sentence, 1000), err=True)


def print_json(data: Any) -> None:
    """One JSON document, or one line of a stream of them; structures of msgspec too. A program gets text as it is where
    the character set has it; what steers a terminal must not reach one."""
    import msgspec

    echo(json.dumps(msgspec.to_builtins(data), ensure_ascii=is_ascii_due()))


def is_ascii_due() -> bool:
    """Whether JSON on the standard output has to escape what is not ASCII."""
    return (sys.stdout.encoding or "").lower().replace("-", "") != "utf8" or sys.stdout.isatty()


@contextmanager
def whatever_the_output_does(*, verdict: bool = False) -> Iterator[None]:
    """A pipe that was closed, a full disk or a terminal that is gone must not change what the process says. `verdict`:
    nor must results that were lost, as they are in the exit code too."""
    try:
        yield
        sys.stdout.flush()
    except OSError as error:
        if isinstance(error, BenchrigError):  # some are TimeoutErrors, and these are OSErrors
            raise
        output_was_lost(error, results=not verdict)
