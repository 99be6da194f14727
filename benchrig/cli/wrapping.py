"""Lines for a person at a terminal: broken between words, with what follows under the text they belong to."""

from __future__ import annotations

import re
import shutil
import textwrap

# A column of its own begins behind two blanks.
_COLUMN = re.compile(r"\s*\S.*?\s{2,}(?=\S)")
_LEAST = 20


def wrapped(text: str, width: int | None = None) -> str:
    """The text in lines of at most `width` characters (the terminal's, if not given). A line goes on below its second
    column, or below its first word."""
    width = max(_LEAST, width or shutil.get_terminal_size().columns)
    return "\n".join(_line(line, width) for line in text.split("\n"))


def _line(line: str, width: int) -> str:
    if len(line) <= width:
        return line
    column = _COLUMN.match(line)
    indent = column.end() if column else len(line) - len(line.lstrip())
    if indent > width // 2:
        indent = 2
    parts = textwrap.wrap(
        line, width, subsequent_indent=" " * indent, replace_whitespace=False, drop_whitespace=True,
        break_on_hyphens=False,
    )  # fmt: skip
    return "\n".join(parts)
