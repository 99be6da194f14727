"""Plain tables and lines in the terminal: columns without rules, cells and lines that fold when there is no room. Text
is never read as markup."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from benchrig.text.escape import ascii_text

if TYPE_CHECKING:
    from rich.console import Console, JustifyMethod, OverflowMethod, RenderableType


def print_table(
    console: Console,
    headings: Sequence[str],
    rows: Iterable[tuple[Sequence[str], str]],
    *,
    right: Sequence[str] = (),
    whole: Sequence[str] = (),
) -> None:
    """Rows of cells, each with the style of its row. `right` names the headings of columns of numbers, `whole` those of cells
    that do not break. Cells are never
    read as markup, and are plain text already."""
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in headings:
        justify: JustifyMethod = "right" if heading in right else "left"
        table.add_column(shown(heading, console), justify=justify, overflow="fold", no_wrap=heading in whole)
    for cells, style in rows:
        table.add_row(*(shown(cell, console) for cell in cells), style=style)
    print_trimmed(console, table)


def shown(text: str, console: Console, style: str = "") -> Text:
    """Text for the character set of the console."""
    return Text(ascii_text(text) if console.options.ascii_only else text, style)


def print_line(console: Console, *spans: tuple[str, str], indent: int = 0, hang: int = 0) -> None:
    """A line of texts with their styles; indented in all rows that it takes, by `hang` more in all but the first."""
    line = Text().join(shown(text, console, style) for text, style in spans)
    for number, row in enumerate(line.wrap(console, max(20, console.width - indent - hang), overflow="fold")):
        row.rstrip()
        before = " " * (indent + (hang if number else 0))
        console.print(Text(before) + row, overflow="ignore", soft_wrap=True)


def print_trimmed(console: Console, what: RenderableType, overflow: OverflowMethod | None = None) -> None:
    """Print in the width there is. Columns pad their cells, and folded lines end in a blank: what is read by programs
    has no use for blanks at the end of a line."""
    if console.is_terminal:
        console.print(what, overflow=overflow)
        return
    with console.capture() as captured:
        console.print(what, overflow=overflow)
    for line in captured.get().splitlines():
        console.print(Text.from_ansi(line.rstrip()), soft_wrap=True)
