"""Bytes taken apart, in the terminal: a row for each piece."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.text.escape import hex_text, plain
from benchrig.text.tables import print_table, shown

if TYPE_CHECKING:
    from rich.console import Console

    from benchrig.desk.decoding import Decoded, DecodedPiece

_HEADINGS = ("offset", "length", "bytes", "field", "value")
_SENTENCE = 600
# Bytes in one row; the others of a long field stand below them.
_ROW, _NARROW_ROW = 8, 2
_WIDE = 70


def render(decoded: Decoded, console: Console) -> None:
    """Print the pieces in the order of their bytes. A narrow terminal has no room for lengths, which can be counted."""
    wide = console.width >= _WIDE
    kept = [0, 1, 2, 3, 4] if wide else [0, 2, 3, 4]
    rows = []
    for line in decoded.lines:
        cells = _cells(line, _ROW if wide else _NARROW_ROW)
        rows.append(([cells[at] for at in kept], "bold red" if line.wrong else ""))
    print_table(console, [_HEADINGS[at] for at in kept], rows, right=("offset", "length"))
    if decoded.outcome:
        console.print(shown(f"A value reads as {decoded.outcome}.", console))


def one_line(decoded: Decoded) -> str:
    """What is wrong, or what is said, and the bytes."""
    said = "; ".join(decoded.wrong) if decoded.wrong else decoded.said
    return f"{plain(said, _SENTENCE)}  [{hex_text(decoded.document['raw'])}]"


def _cells(line: DecodedPiece, most: int) -> tuple[str, str, str, str, str]:
    text = plain(line.wrong or line.text, _SENTENCE)
    if line.where:
        return "", "", line.where, f"  {plain(line.name)}", text
    raw = line.raw.hex(" ").upper()
    rows = [raw[at : at + 3 * most].strip() for at in range(0, len(raw), 3 * most)]
    return str(line.offset), str(len(line.raw)), "\n".join(rows), plain(line.name) or "value", text
