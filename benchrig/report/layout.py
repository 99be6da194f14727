"""The columns of the table of readings: how wide each is, so that names and numbers stay whole."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import NamedTuple

from rich.cells import cell_len
from rich.text import Text

Column = Sequence[Text]

# A number or word as long as this is not broken over two lines while there is any other way.
_WORD = 15
# A step's name may be any text: a word of it that is longer than this is broken.
_STEP_WORD = 20


class Layout(NamedTuple):
    """The rows as they are printed, headings first; the width of each column, and the blanks between two."""

    rows: Sequence[Sequence[Text]]
    widths: Sequence[int]
    gap: int


def fitting(rows: Sequence[Sequence[Text]], width: int) -> Layout | None:
    """The roomiest layout of step, reading and other columns that breaks neither the name of a reading nor a number:
    first headings fold, then limits and other texts, then steps stand over their readings. None when there is none."""
    for names, fit in product((2, 1), (_whole, _headings_folded, _texts_folded)):
        shown = rows if names == 2 else _stacked(rows)
        columns = [[row[at] for row in shown] for at in range(len(shown[0]))]
        others = [fit(column) for column in columns[names:]]
        if names == 1:
            others[-1] = _texts_folded(columns[-1])  # a cause may stand below its verdict
        left = width - sum(others) - names * len(columns)
        if (shares := _shares(columns[:names], left)) is not None:
            return Layout(shown, [*shares, *others], gap=names)
    return None


def _shares(columns: Sequence[Column], left: int) -> list[int] | None:
    """The room that is left, between steps and readings; readings stay whole. None when it does not suffice."""
    steps, readings = columns[0], columns[-1]
    whole = _whole(steps)
    if len(columns) == 1:
        least = max([_longest_word(steps, _STEP_WORD), *(cell.cell_len for cell in steps if cell.plain[:1] == " ")])
        return [min(whole, left)] if left >= least else None
    reading = _whole(readings)
    step = min(whole, left - reading)
    return [step, reading] if step >= min(whole, max(12, _longest_word(steps, _STEP_WORD))) else None


def _stacked(rows: Sequence[Sequence[Text]]) -> list[Sequence[Text]]:
    """Rows with the step above its readings in one column; the step's own row carries its verdict."""
    stacked: list[Sequence[Text]] = []
    for step, reading, *rest in rows:
        if step.plain and reading.plain and stacked and any(cell.plain for cell in rest[:-1]):
            stacked.append([step, *[Text()] * len(rest)])
            step = Text()
        first = Text(" ") + reading if not step.plain else step
        stacked.append([first, *rest])
    return stacked


def _whole(column: Column) -> int:
    return max(cell.cell_len for cell in column)


def _headings_folded(column: Column) -> int:
    return max(_texts_folded(column[:1]), *(cell.cell_len for cell in column[1:]))


def _texts_folded(column: Column) -> int:
    return _longest_word(column, _WORD)


def _longest_word(column: Column, most: int) -> int:
    """The width of the longest word that may not be broken."""
    words = [cell_len(word) for cell in column for word in cell.plain.split()]
    return max((word for word in words if word <= most), default=1)
