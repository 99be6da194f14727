"""The lines of a plan: values as steps have them, and comments. What came from a device is escaped in both."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from benchrig.source.writing import flow
from benchrig.text.escape import plain

_COMMENT = 1000


def value(data: Any) -> str:
    """A value within a step or a selection, on one line. `$` would begin a reference there."""
    return flow(data).replace("$", "$$")


def comment(*sentences: str, indent: int = 0) -> Iterator[str]:
    """A line of comment for each sentence."""
    for sentence in sentences:
        yield " " * indent + "# " + plain(sentence, _COMMENT)


def block(lines: Iterable[str]) -> str:
    return "\n".join(lines) + "\n"
