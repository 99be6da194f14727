"""Lines that would be too long: broken between words, with what follows under the text they belong to."""

from __future__ import annotations

import re
import shutil
from collections.abc import Sequence
from typing import TypeAlias

from benchrig.text.escape import plain

# Text with its style.
Span: TypeAlias = tuple[str, str]
Line: TypeAlias = Sequence[Span]

_WORD = re.compile("[^ ]+ *| +")
# A column of its own begins behind two blanks.
_COLUMN = re.compile(r"\s*\S.*?\s{2,}(?=\S)")
_LEAST = 20
# Of a text that a device sends, so much is shown.
LONGEST = 2000


def wrapped(text: str, width: int | None = None) -> str:
    """The text in lines of at most `width` cells (the terminal's, if not given). A line goes on below its second
    column, or below its first word."""
    width = max(_LEAST, width or shutil.get_terminal_size().columns)
    rows = (row for line in text.split("\n") for row in _rows([(line, "")], width, _indent(line, width)))
    return "\n".join("".join(part for part, _ in row) for row in rows)


def _indent(line: str, width: int) -> int:
    column = _COLUMN.match(line)
    indent = column.end() if column else len(line) - len(line.lstrip())
    return indent if indent <= width // 2 else 2


def wrapped_spans(line: Line, width: int, indent: int = 0) -> list[Line]:
    """A line of a live view in as many lines as it takes, each but the first indented, made plain."""
    shown = [(plain(text, LONGEST), style) for text, style in line]
    return _rows(shown, width, indent if width > 2 * indent else 0)


def _rows(line: Line, width: int, indent: int) -> list[Line]:
    """A word that is longer than a line is broken."""
    from rich.cells import cell_len

    made: list[list[Span]] = [[]]
    left = width
    for text, style in line:
        for word in _parts(text, max(1, width - indent)):
            if not word.strip() and len(word) > left:
                continue
            if cell_len(word.rstrip()) > left and made[-1]:
                made.append([(" " * indent, "")])
                left = width - indent
            made[-1].append((word, style))
            left -= cell_len(word)
    # the blanks at the end of a full line would not fit
    return [[*spans[:-1], (spans[-1][0].rstrip(" "), spans[-1][1])] if spans else [] for spans in made]


def _parts(text: str, most: int) -> list[str]:
    """Words with the blanks behind them, none longer than `most` cells."""
    from rich.cells import chop_cells

    words = _WORD.findall(text)
    return [part for word in words for part in (chop_cells(word, most) if len(word) > most else [word])]
