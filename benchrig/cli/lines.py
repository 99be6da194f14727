"""Lines of a live view that would be too long: wrapped at words, or with fewer words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchrig.cli.live import Line, Span

_WORD = re.compile(r"\S+ *| +")
# Of a text that a device sends, so much is shown.
LONGEST = 2000


def wrapped(line: Line, width: int, indent: int = 0) -> list[Line]:
    """The line in as many lines as it takes, each but the first indented; a word that is longer than a line is
    broken."""
    from rich.cells import cell_len

    indent = indent if width > 2 * indent else 0
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

    from benchrig.text.escape import plain

    words = _WORD.findall(plain(text, LONGEST))
    return [part for word in words for part in (chop_cells(word, most) if len(word) > most else [word])]


def key_line(keys: Sequence[tuple[str, str]], width: int) -> str:
    """Keys with what they do, in one line. Where room is short, the keys that say it themselves lose their words
    first; no key is left out."""
    spoken = [*keys]
    for key, _ in sorted(keys, key=lambda each: -len(each[0])):
        if len(_joined(spoken)) <= width:
            break
        spoken = [(name, "" if name == key else word) for name, word in spoken]
    line = _joined(spoken)
    return line if len(line) <= width else " ".join(key for key, _ in keys)


def _joined(keys: Sequence[tuple[str, str]]) -> str:
    return "  ".join(f"{key} {word}".rstrip() for key, word in keys)
