"""Lines of styled text that fit: cut, filled up, centred, side by side. Styles are words with blanks between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchrig.text.columns import in_cells
from benchrig.text.escape import ascii_text, plain
from benchrig.text.wrapping import Line, wrapped_spans

Block = list[Line]


@dataclass(frozen=True)
class Pen:
    """What the terminal can show. Text from anywhere becomes text on the screen here, and nowhere else."""

    ascii_only: bool = False

    @property
    def bar(self) -> tuple[str, str]:
        """What is done of a bar, and what is not."""
        return ("#", ".") if self.ascii_only else ("█", "░")

    def text(self, text: str, width: int) -> str:
        """On one line without anything invisible, at most so many cells wide."""
        return in_cells(self.safe(text, 4 * width), width, ascii_only=self.ascii_only).rstrip()

    def filled(self, text: str, width: int) -> str:
        """The same in exactly so many cells."""
        return in_cells(self.safe(text, 4 * width), width, ascii_only=self.ascii_only)

    def tail(self, text: str, width: int) -> str:
        """The end of a text, where it is too long."""
        shown = plain(text, len(text) * 12 + 1)
        shown = ascii_text(shown) if self.ascii_only else shown
        if cells(shown) <= width:
            return shown
        mark = "~" if self.ascii_only else "…"
        while cells(shown) > width - 1:
            shown = shown[max(1, cells(shown) - width) :] if cells(shown) - width > 8 else shown[1:]
        return mark + shown

    def paragraph(self, text: str, width: int, rows: int, style: str = "") -> Block:
        """The text broken between words, in at most so many lines; the last one is cut where it goes on."""
        if not text or rows < 1:
            return []
        made = wrapped_spans([(self.safe(text, 2000), style)], max(1, width))
        if len(made) > rows:
            rest = "".join(part for line in made[rows - 1 :] for part in (_words(line), " "))
            made = [*made[: rows - 1], [(rest, style)]]
        return [[(self.text(_words(line), width), style)] for line in made]

    def safe(self, text: str, most: int) -> str:
        shown = plain(text, most)
        return ascii_text(shown) if self.ascii_only else shown


def cells(text: str) -> int:
    from rich.cells import cell_len

    return cell_len(text)


def wide(line: Line) -> int:
    return sum(cells(text) for text, _ in line)


def filled(line: Line, width: int, *, centred: bool = False, style: str = "") -> Line:
    """A line that fits, in exactly so many cells."""
    left = width - wide(line)
    before = left // 2 if centred else 0
    return [(" " * before, style), *line, (" " * (left - before), style)]


def block(lines: Sequence[Line], width: int, height: int, *, centred: bool = False) -> Block:
    """Lines that fit, as a rectangle; what is too much below is left out."""
    made = [filled(line, width, centred=centred) for line in lines[:height]]
    return made + [[(" " * width, "")] for _ in range(height - len(made))]


def beside(blocks: Sequence[Block], gap: int = 1) -> Block:
    """Rectangles of one height next to each other."""
    between: Line = [(" " * gap, "")]
    made: Block = []
    for row in zip(*blocks, strict=True):
        line: list[tuple[str, str]] = [*row[0]]
        for each in row[1:]:
            line += [*between, *each]
        made.append(line)
    return made


def _words(line: Line) -> str:
    return "".join(text for text, _ in line)
