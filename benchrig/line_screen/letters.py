"""Very large words. Each letter and sign is drawn here, twice: 7 cells wide and 5 high, of whole cells, which grows by
whole numbers; and 4 wide and 3 high, of half cells, for many slots on a small terminal."""

from __future__ import annotations

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
    "N": ("xx   xx", "xxx  xx", "xx x xx", "xx  xxx", "xx   xx"),
    "O": (" xxxxx ", "xx   xx", "xx   xx", "xx   xx", " xxxxx "),
    "P": ("xxxxxx ", "xx   xx", "xxxxxx ", "xx     ", "xx     "),
    "R": ("xxxxxx ", "xx   xx", "xxxxxx ", "xx  xx ", "xx   xx"),
    "S": (" xxxxxx", "xx     ", " xxxxx ", "     xx", "xxxxxx "),
    "T": ("xxxxxxx", "  xxx  ", "  xxx  ", "  xxx  ", "  xxx  "),
    "U": ("xx   xx", "xx   xx", "xx   xx", "xx   xx", " xxxxx "),
    # the signs: a tick, a cross, a mark of exclamation
    "+": ("      x", "     xx", "x   xx ", "xx xx  ", " xxx   "),
    "x": ("xx   xx", " xx xx ", "  xxx  ", " xx xx ", "xx   xx"),
    "!": ("  xxx  ", "  xxx  ", "  xxx  ", "       ", "  xxx  "),
}  # fmt: skip
# Of three rows: 'u' is the upper half of a cell, 'd' the lower one, 'x' both.
_SMALL = {
    "A": ("duud", "xuux", "u  u"), "C": ("duuu", "x   ", " uuu"), "D": ("xuud", "x  x", "uuu "),
    "E": ("xuuu", "xuu ", "uuuu"), "F": ("xuuu", "xuu ", "u   "), "H": ("x  x", "xuux", "u  u"),
    "I": ("uxxu", " xx ", "uuuu"), "K": ("x du", "xud ", "u  u"), "L": ("x   ", "x   ", "uuuu"),
    "N": ("xd x", "x ux", "u  u"), "O": ("duud", "x  x", " uu "), "P": ("xuud", "xuu ", "u   "),
    "R": ("xuud", "xuud", "u  u"), "S": ("duuu", " uud", "uuu "), "T": ("uxxu", " xx ", " uu "),
    "U": ("x  x", "x  x", " uu "),
    "+": ("   x", "d x ", " u  "), "x": ("x  x", " xx ", "u  u"), "!": (" xx ", " uu ", " uu "),
}  # fmt: skip
SIGNS = {"PASS": "+", "FAIL": "x", "STOP": "!"}
# A cell, its upper and its lower half, where the terminal has them, and as well as ASCII can.
_BLOCKS = str.maketrans("xud", "█▀▄")
_ASCII = str.maketrans("xud", '#".')


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
        letter, gap = (7 * self.wide, self.wide) if self.high else (4, 1)
        return letters * letter + (letters - 1) * gap


SMALL = Size(1, 0)
# The largest first.
SIZES = tuple(sorted((Size(w, h) for h in range(1, 9) for w in range(h, 2 * h + 1)), key=lambda s: (-s.high, -s.wide)))


def large(word: str, size: Size, *, ascii_only: bool = False) -> list[str]:
    """The rows of a word, all of one width."""
    letters = [(_LARGE if size.high else _SMALL)[each] for each in word]
    rows = [" ".join(letter[at] for letter in letters) for at in range(len(letters[0]))]
    grown = ["".join(cell * size.wide for cell in row) for row in rows for _ in range(max(1, size.high))]
    return [row.translate(_ASCII if ascii_only else _BLOCKS) for row in grown]
