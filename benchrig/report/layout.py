"""The columns of the table of readings: how wide each is, so that names and numbers stay whole."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product, zip_longest
from typing import TYPE_CHECKING, NamedTuple

from rich.cells import cell_len
from rich.text import Text

if TYPE_CHECKING:
    from rich.console import Console

Column = Sequence[Text]

# A number or word as long as this is not broken over two lines while there is any other way.
_WORD = 15
# With less room than this for their names, steps stand over their readings.
_STEPS = 24


class Layout(NamedTuple):
    """The width of each column, and the blanks between two. Where steps are `over` their readings, the first column is
    that of the readings, and a step has a line of its own."""

    widths: Sequence[int]
    gap: int
    over: bool

    @property
    def beside_verdict(self) -> int:
        """The room before the last column."""
        return sum(self.widths[:-1]) + self.gap * (len(self.widths) - 2)

    def lines(self, cells: Sequence[Text], right: Sequence[int], console: Console) -> Iterator[Text]:
        """A row of the table, each cell in its column: `right` are the columns of numbers."""
        yield from _joined(cells, self.widths, self.gap, right, console)

    def step_lines(self, step: Text, verdict: Text, console: Console) -> Iterator[Text]:
        """A step over its readings: its name has all the room before its verdict."""
        yield from _joined([step, verdict], [self.beside_verdict, self.widths[-1]], self.gap, (), console)


def fitting(rows: Sequence[Sequence[Text]], width: int) -> Layout | None:
    """The roomiest layout of step, reading and other columns, headings first, that breaks neither a name nor a number:
    first headings fold, then limits and other texts, then steps stand over their readings. None when there is none."""
    steps, readings, *others = ([row[at] for row in rows] for at in range(len(rows[0])))
    for over, fit in product((False, True), (_whole, _headings_folded, _texts_folded)):
        widths = [fit(column) for column in others]
        found = _over(steps, readings, widths, width) if over else _beside(steps, readings, widths, width)
        if found is not None:
            return _roomier(found, [_whole(column) for column in (steps, readings, *others)], width)
    return None


def _roomier(layout: Layout, wanted: list[int], width: int) -> Layout:
    """What is left of the room goes to the columns that fold, from the last one on."""
    widths = [*layout.widths]
    spare = width - sum(widths) - layout.gap * (len(widths) - 1)
    for back in range(1, len(widths) + 1):
        more = min(spare, max(0, wanted[-back] - widths[-back]))
        widths[-back] += more
        spare -= more
    return layout._replace(widths=widths)


def _beside(steps: Column, readings: Column, others: list[int], width: int) -> Layout | None:
    """Steps fold between words only."""
    step = min(_whole(steps), max(_STEPS, _longest_word(steps)))
    widths = [step, _whole(readings), *others]
    return Layout(widths, 2, over=False) if sum(widths) + 2 * (len(widths) - 1) <= width else None


def under_steps(rows: Sequence[Sequence[Text]]) -> list[Text]:
    """The readings of these rows, each one blank further in than its step."""
    found, indent = [], 0
    for step, reading, *_ in rows:
        if step.plain:
            indent = len(step.plain) - len(step.plain.lstrip(" "))
        found.append(Text(" " * (indent + 1)) + reading)
    return found


def _over(steps: Column, readings: Column, others: list[int], width: int) -> Layout | None:
    under = under_steps([*zip(steps, readings, strict=True)])
    layout = Layout([max(_whole(under), steps[0].cell_len + 1), *others], 1, over=True)
    fits = layout.beside_verdict + 1 + others[-1] <= width and _longest_word(steps) <= layout.beside_verdict
    return layout if fits else None


def _joined(
    cells: Sequence[Text], widths: Sequence[int], gap: int, right: Sequence[int], console: Console
) -> Iterator[Text]:
    folded = [_folded(cell, width, console) for cell, width in zip(cells, widths, strict=True)]
    for row in zip_longest(*folded):
        line = Text()
        for at, (part, width) in enumerate(zip(row, widths, strict=True)):
            text = part or Text()
            blank = " " * (width - text.cell_len)
            line += Text(blank) + text if at in right else text + Text(blank)
            line += Text(" " * gap)
        line.rstrip()
        yield line


def _folded(cell: Text, width: int, console: Console) -> list[Text]:
    """The cell in lines, those after the first under its first letter."""
    indent = len(cell.plain) - len(cell.plain.lstrip(" "))
    rows = cell[indent:].wrap(console, max(1, width - indent), overflow="fold")
    for row in rows:
        row.rstrip()
    return [Text(" " * indent) + row for row in rows]


def _whole(column: Column) -> int:
    return max(cell.cell_len for cell in column)


def _headings_folded(column: Column) -> int:
    return max(_texts_folded(column[:1]), *(cell.cell_len for cell in column[1:]))


def _texts_folded(column: Column) -> int:
    return _longest_word(column, _WORD)


def _longest_word(column: Column, most: int = 1000) -> int:
    """The width of the longest word that may not be broken."""
    words = [cell_len(word) for cell in column for word in cell.plain.split()]
    return max((word for word in words if word <= most), default=1)
