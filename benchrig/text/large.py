"""Digits that are read across a room."""

from __future__ import annotations

# rows of three cells, as a display of seven segments has them
_DIGITS = {
    "0": "### #.# #.# #.# ###",
    "1": "..# ..# ..# ..# ..#",
    "2": "### ..# ### #.. ###",
    "3": "### ..# ### ..# ###",
    "4": "#.# #.# ### ..# ..#",
    "5": "### #.. ### ..# ###",
    "6": "### #.. ### #.# ###",
    "7": "### ..# ..# ..# ..#",
    "8": "### #.# ### #.# ###",
    "9": "### #.# ### ..# ###",
}
_INDENT = "    "


def large(digits: str) -> str:
    """Six digits in five lines of 52 columns, and small below them, as they are typed."""
    rows = zip(*(_DIGITS[digit].split() for digit in digits), strict=True)
    lines = [
        "  ".join(_wide(cells) for cells in row[:3]) + "     " + "  ".join(_wide(cells) for cells in row[3:])
        for row in rows
    ]
    return "\n".join(["", *(_INDENT + line.rstrip() for line in lines), "", f"{_INDENT}{digits[:3]} {digits[3:]}", ""])


def _wide(cells: str) -> str:
    """A character is about twice as high as it is wide."""
    return cells.replace(".", "  ").replace("#", "##")
