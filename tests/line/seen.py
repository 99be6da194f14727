"""What a person sees on the screen of the line: the large word of a slot, its text, the figures of the shift."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from benchrig.line_screen.letters import SIGNS, SIZES, SMALL, large

WORDS = (*SIGNS, "SCAN")
_TITLE = re.compile(r" slot (\S+)(?=  | *$)")


@dataclass(frozen=True)
class Panel:
    """The rectangle of a slot: the large word in it ('' for none), and its text with the blanks of lines taken together."""

    word: str
    text: str


def panel(lines: Sequence[str], slot: str, columns: int) -> Panel:
    """Empty while the slot is not on the screen: it may be half painted."""
    titles = [(row, found.start(), found[1]) for row, line in enumerate(lines) for found in _TITLE.finditer(line)]
    titles = [(row, at, name) for row, at, name in titles if row == _first_row(titles, name)]
    [(top, left)] = [(row, at) for row, at, name in titles if name == slot] or [(-1, -1)]
    if top < 0:
        return Panel("", "")
    right = min((at for row, at, _ in titles if row == top and at > left), default=columns)
    below = [row for row, _, _ in titles if row > top]
    height = min(below) - top if below else _height(titles, top, len(lines))
    inside = [line.ljust(columns)[left:right] for line in lines[top : top + height]]
    text = " ".join(" ".join(inside).split())
    return Panel(word_in(inside) or (_small(inside) if "REFUSED" in large_words(lines) else ""), text)


def _small(lines: Sequence[str]) -> str:
    """While something is refused, no verdict is large."""
    return next((word for line in lines for word in WORDS if line.strip() == word), "")


def word_in(lines: Sequence[str]) -> str:
    """The large word of a rectangle; '' where two can be seen, as in a screen that is half painted."""
    found = {word for word in WORDS for rows in _drawn(word) if _is_in(rows, lines)}
    return found.pop() if len(found) == 1 else ""


def large_words(lines: Sequence[str]) -> set[str]:
    """Those that are for the whole line."""
    full = [line.ljust(max(map(len, lines)) + 8) for line in lines]
    return {
        word
        for word in ("LOCKED", "STOPPED", "REHEARSAL", "REFUSED")
        if any(_is_in(rows, full) for rows in _drawn(word))
    }


def figures(text: str) -> dict[str, str]:
    """Those of the shift that are on the screen, by name."""
    named = {
        "judged": r"(\d+) units?\b(?! waiting)", "first pass": r"first pass (\S+)", "failed": r"(\d+) failed", "not judged": r"(\d+) not judged",
        "retests": r"(\d+) retest",
    }  # fmt: skip
    return {name: found[1] for name, pattern in named.items() if (found := re.search(pattern, text))}


@cache
def _drawn(word: str) -> list[list[str]]:
    return [large(f"{SIGNS.get(word, '')}{word}", size) for size in (*SIZES, SMALL)]


def _is_in(rows: Sequence[str], lines: Sequence[str]) -> bool:
    """Whether all rows are below each other in the lines, at one column."""
    return any(_at(rows, lines, top) for top in range(len(lines) - len(rows) + 1))


def _at(rows: Sequence[str], lines: Sequence[str], top: int) -> bool:
    left = lines[top].find(rows[0])
    while left >= 0:
        if all(lines[top + index].startswith(row, left) for index, row in enumerate(rows)):
            return True
        left = lines[top].find(rows[0], left + 1)
    return False


def _first_row(titles: Sequence[tuple[int, int, str]], name: str) -> int:
    return min(row for row, _, each in titles if each == name)


def _height(titles: Sequence[tuple[int, int, str]], top: int, lines: int) -> int:
    """That of the row above; of a single row all that is below it."""
    above = [row for row, _, _ in titles if row < top]
    return top - max(above) if above else lines - top
