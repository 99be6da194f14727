"""Very large words. Each letter and sign is drawn here, twice: 7 cells wide and 5 high, of whole cells, which grows by
whole numbers; and 5 wide and 3 high, of half cells, for many slots on a small terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# Of five rows: a 'x' is a cell that is filled.
_LARGE = {
    "A": (" xxxxx ", "xx   xx", "xxxxxxx", "xx   xx", "xx   xx"),
    "C": (" xxxxxx", "xx     ", "xx     ", "xx     ", " xxxxxx"),
    "D": ("xxxxxx ", "xx   xx", "xx   xx", "xx   xx", "xxxxxx "),
    "E": ("xxxxxxx", "xx     ", "xxxxx  ", "xx     ", "xxxxxxx"),
    "F": ("xxxxxxx", "xx     ", "xxxxx  ", "xx     ", "xx     "),
    "H": ("xx   xx", "xx   xx", "xxxxxxx", "xx   xx", "xx   xx"),
    "I": (" xxxxx ", "  xxx  ", "  xxx  ", "  xxx  ", " xxxxx "),
    "K": ("xx   xx", "xx  xx ", "xxxxx  ", "xx  xx ", "xx   xx"),
    "L": ("xx     ", "xx     ", "xx     ", "xx     ", "xxxxxxx"),
    "O": (" xxxxx ", "xx   xx", "xx   xx", "xx   xx", " xxxxx "),
    "P": ("xxxxxx ", "xx   xx", "xxxxxx ", "xx     ", "xx     "),
    "R": ("xxxxxx ", "xx   xx", "xxxxxx ", "xx  xx ", "xx   xx"),
    "S": (" xxxxxx", "xx     ", " xxxxx ", "     xx", "xxxxxx "),
    "T": ("xxxxxxx", "  xxx  ", "  xxx  ", "  xxx  ", "  xxx  "),
    # the signs: a tick, a cross, a bar across the way
    "+": ("      x", "     xx", "x   xx ", "xx xx  ", " xxx   "),
    "x": ("xx   xx", " xx xx ", "  xxx  ", " xx xx ", "xx   xx"),
    "-": (" xxxxx ", "xxxxxxx", "x     x", "xxxxxxx", " xxxxx "),
}  # fmt: skip
# Of three rows: 'u' is the upper half of a cell, 'd' the lower one, 'x' both.
_SMALL = {
    "A": ("duuud", "xuuux", "u   u"), "C": ("duuuu", "x    ", " uuuu"), "D": ("xuuud", "x   x", "uuuu "),
    "E": ("xuuuu", "xuuu ", "uuuuu"), "F": ("xuuuu", "xuuu ", "u    "), "H": ("x   x", "xuuux", "u   u"),
    "I": (" uxu ", "  x  ", " uuu "), "K": ("x  du", "xuud ", "u   u"), "L": ("x    ", "x    ", "uuuuu"),
    "O": ("duuud", "x   x", " uuu "), "P": ("xuuud", "xuuu ", "u    "), "R": ("xuuud", "xuxu ", "u  uu"),
    "S": ("duuuu", " uuud", "uuuu "), "T": ("uuxuu", "  x  ", "  u  "),
    "+": ("    d", "d du ", " u   "), "x": ("ud du", " dxd ", "u   u"), "-": ("duuud", "xuuux", " uuu "),
}  # fmt: skip
SIGNS = {"PASS": "+", "FAIL": "x", "STOP": "-"}
_BLOCKS = {"x": "█", "u": "▀", "d": "▄", " ": " "}


@dataclass(frozen=True)
class Size:
    """How large words are: 0 is the small alphabet, else the large one, so many times as wide and as high."""

    wide: int
    high: int

    @property
    def rows(self) -> int:
        return 5 * self.high if self.high else 3

    def cells(self, letters: int) -> int:
        """The width of a word of so many letters."""
        letter, gap = (7 * self.wide, self.wide) if self.high else (5, 1)
        return letters * letter + (letters - 1) * gap


SMALL = Size(1, 0)
# The largest first.
SIZES = tuple(sorted((Size(w, h) for h in range(1, 9) for w in range(h, 2 * h + 1)), key=lambda s: (-s.high, -s.wide)))


def large(word: str, size: Size, *, ascii_only: bool = False) -> list[str]:
    """The rows of a word, all of one width. `ascii_only` draws with '#', which has no halves: no small letters there."""
    if not size.high:
        return _joined([_SMALL[each] for each in word], 1)
    rows = _joined([_LARGE[each] for each in word], 1)
    grown = ["".join(each * size.wide for each in row) for row in rows for _ in range(size.high)]
    return [row.replace("█", "#") for row in grown] if ascii_only else grown


def _joined(letters: Sequence[tuple[str, ...]], gap: int) -> list[str]:
    rows = ((" " * gap).join(letter[at] for letter in letters) for at in range(len(letters[0])))
    return ["".join(_BLOCKS[each] for each in row) for row in rows]
