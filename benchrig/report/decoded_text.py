"""Bytes taken apart, in the terminal: a row for each piece."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.report.escape import hex_text, plain
from benchrig.report.tables import print_table, shown

if TYPE_CHECKING:
    from rich.console import Console

    from benchrig.desk.decoding import Decoded, Line

_SENTENCE = 600
# Bytes in one row; the others of a long field stand below them.
_ROW = 16


def render(decoded: Decoded, console: Console) -> None:
    """Print the pieces in the order of their bytes."""
    rows = ((_cells(line), "bold red" if line.wrong else "") for line in decoded.lines)
    print_table(console, ("offset", "length", "bytes", "field", "value"), rows, right=("offset", "length"))
    if decoded.outcome:
        console.print(shown(f"A value reads as {decoded.outcome}.", console))


def one_line(decoded: Decoded) -> str:
    """What is wrong, or what is said, and the bytes."""
    said = "; ".join(decoded.wrong) if decoded.wrong else decoded.said
    return f"{plain(said, _SENTENCE)}  [{hex_text(decoded.document['raw'])}]"


def _cells(line: Line) -> tuple[str, str, str, str, str]:
    text = plain(line.wrong or line.text, _SENTENCE)
    if line.where:
        return "", "", line.where, f"  {plain(line.name)}", text
    raw = line.raw.hex(" ").upper()
    rows = [raw[at : at + 3 * _ROW].strip() for at in range(0, len(raw), 3 * _ROW)]
    return str(line.offset), str(len(line.raw)), "\n".join(rows), plain(line.name) or "value", text
