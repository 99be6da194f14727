"""Columns of text that fit the width there is: what matters least is left out first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

GAP = 2


@dataclass(frozen=True)
class Column:
    """`width` is the least it needs, `most` what it may grow to; of too many columns the highest `rank` goes first."""

    heading: str
    width: int
    rank: int
    most: int = 0
    right: bool = False


def fitting(
    columns: Sequence[Column], width: int, rows: Sequence[Sequence[str]], *, tight: bool = False
) -> list[tuple[Column, int]]:
    """The columns that have room, in their order, each with its width: what is left of it goes to those whose cells in
    `rows` (one text a column) need more than the least, first to the one that lacks the least. `tight` takes from
    columns what their cells do not need; without it a table that is drawn again and again stands still."""
    from rich.cells import cell_len

    needs = {c: max((cell_len(row[at]) for row in rows), default=0) for at, c in enumerate(columns)}
    widths = {c: min(c.width, max(needs[c], len(c.heading))) if tight else c.width for c in columns}
    kept: list[Column] = []
    for column in sorted(columns, key=lambda c: c.rank):
        if _taken([widths[each] for each in (*kept, column)]) > width:
            break
        kept.append(column)
    left = width - _taken([widths[each] for each in kept])
    lacks = {column: max(0, min(column.most, needs[column]) - widths[column]) for column in kept}
    for column in sorted(kept, key=lambda c: lacks[c]):
        more = min(left, lacks[column])
        widths[column] += more
        left -= more
    return [(column, widths[column]) for column in columns if column in kept]


def natural(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[tuple[Column, int]]:
    """All columns, as wide as their cells need; a column without any cell is left out."""
    from rich.cells import cell_len

    widths = [max((cell_len(row[at]) for row in rows), default=0) for at in range(len(columns))]
    return [(c, max(need, len(c.heading))) for c, need in zip(columns, widths, strict=True) if need]


def laid_out(columns: Sequence[tuple[Column, int]], texts: Sequence[str], *, ascii_only: bool = False) -> str:
    """One line: the texts in their columns."""
    return (" " * GAP).join(
        in_cells(text, width, right=column.right, ascii_only=ascii_only)
        for (column, width), text in zip(columns, texts, strict=True)
    )


def table_lines(
    fitted: Sequence[tuple[Column, int]],
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    *,
    ascii_only: bool = False,
) -> list[str]:
    """The heading, and the rows (one text for each of the `columns`) in those that are shown."""
    at = [columns.index(column) for column, _ in fitted]
    lines = [[column.heading for column, _ in fitted], *([row[index] for index in at] for row in rows)]
    return [laid_out(fitted, line, ascii_only=ascii_only) for line in lines]


def in_cells(text: str, width: int, *, right: bool = False, ascii_only: bool = False) -> str:
    """The text in exactly so many cells of the terminal: cut, with a mark, or filled up."""
    from rich.cells import cell_len, set_cell_size

    from benchrig.text.escape import ascii_text

    shown = ascii_text(text) if ascii_only else text
    need = cell_len(shown)
    if need > width:
        return set_cell_size(shown, width - 1) + ("~" if ascii_only else "…") if width else ""
    filling = " " * (width - need)
    return filling + shown if right else shown + filling


def _taken(widths: Sequence[int]) -> int:
    return sum(widths) + GAP * max(0, len(widths) - 1)
