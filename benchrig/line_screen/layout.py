"""Where all of a view is on a screen of a given size.

The words are as large as they can be: the sizes are tried from the largest to the smallest, each with every number of
columns. What is around the slots gives way before the words become small.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from benchrig.line.view import LineView
from benchrig.line_screen.around import below, counts, header, message, prompt, rows_of_message, typed_line
from benchrig.line_screen.letters import SIZES, SMALL, Size, large
from benchrig.line_screen.pieces import Block, Pen, beside, block, cells, filled
from benchrig.line_screen.slots import GAP, LEAST_BESIDE, Box, drawn_slot, empty, title_of
from benchrig.text.wrapping import Line

REHEARSAL = "REHEARSAL"
REFUSED = "REFUSED"
_STATES = {"locked": "!LOCKED", "stopped": "!STOPPED"}
# The sign and the four letters of a verdict.
_GLYPHS = 5
# Below its word a slot has this many lines of text, at most as many as are of use.
_LEAST_TEXT, _MOST_TEXT = 2, 4
# The lines below a word are of use from so many cells on; a narrower slot has its text beside the word.
_LEAST_BELOW = 36
# Lines that are kept for notes and the last units while there is room, and of a question in any case.
_LAST, _LEAST_ASKED = 3, 3
EXPECTED = (80, 24)


@dataclass(frozen=True)
class Around:
    """How many lines there are of what is around the slots; `apart`: what is typed has a line to itself."""

    message: int
    last: int
    apart: bool

    @property
    def rows(self) -> int:
        """With the header and the counts."""
        return 2 + self.message + self.last + 1


@dataclass(frozen=True)
class Plan:
    size: Size
    around: Around
    columns: int
    box: Box


def drawn(
    view: LineView, typed: str, width: int, height: int, now: datetime, *, ascii_only: bool = False
) -> list[Line]:
    """As many lines as the screen has, each of its width. Times of day are those of the zone of `now`."""
    pen = Pen(ascii_only)
    plan = planned(view, width, height, pen)
    lines = _whole(view, typed, plan, width, height, now, pen) if plan else _too_small(view, typed, width, height, pen)
    return block(lines, width, height)


def banners(view: LineView) -> list[tuple[str, str]]:
    """The words that are for the whole line, with their styles; as large as the verdicts. What was not taken comes first: its
    unit is the one that somebody has in the hand."""
    made = [(REHEARSAL, "rehearsal")] if view.rehearsal else []
    if view.refused:
        return [*made, (REFUSED, "refused")]
    return made + ([(_STATES[view.state], "stop")] if view.state in _STATES else [])


def planned(view: LineView, width: int, height: int, pen: Pen) -> Plan | None:
    """The plan with the largest words; None where not even the smallest have room. With small words what is around the
    slots gives way to their text, too."""
    words = [word for word, _ in banners(view)]
    rows = rows_of_message(view, width, pen)
    if view.refused and (plan := _refusing(view, width, height, rows)) is not None:
        return plan
    needed = min(_LAST, len(view.last) + len(view.notes) + bool(view.waiting))
    for sizes, besides in ((SIZES, (False, True)), ((SMALL,), (False,)), ((SMALL,), (True,))):
        # large words stay as they are when the first unit is done, or a message has a second line
        for around in _arounds(view, max(2, rows), _LAST) if sizes is SIZES else _arounds(view, rows, needed):
            for size in sizes:
                room = height - around.rows - size.rows * len(words)
                has_room = room >= 0 and all(size.cells(len(word)) <= width for word in words)
                if has_room and (found := _arranged(len(view.slots), width, room, size, besides)):
                    return Plan(size, around, *found)
    return None


def _refusing(view: LineView, width: int, height: int, rows: int) -> Plan | None:
    """The verdicts are told in small letters: nobody takes one of them for what was said last."""
    words = [word for word, _ in banners(view)]
    for size in (*SIZES, SMALL):
        for around in (Around(rows, _LAST, apart=True), Around(rows, 0, apart=True)):
            room = height - around.rows - size.rows * len(words)
            for columns in range(1, len(view.slots) + 1):
                high, wide = room // -(-len(view.slots) // columns), (width - columns + 1) // columns
                if (
                    high > _LEAST_TEXT
                    and wide >= LEAST_BESIDE
                    and all(size.cells(len(word)) <= width for word in words)
                ):
                    return Plan(size, around, columns, Box(wide, min(high, 2 + _LEAST_TEXT), size, beside=False))
    return None


def _arounds(view: LineView, rows: int, last: int) -> Iterator[Around]:
    """With less and less around the slots, from a message of so many lines on. A question, and why the line does not go on,
    is there to be read: it is cut last of all."""
    yield from (Around(rows, last, apart=True), Around(rows, 0, apart=True))
    if view.asked or view.state in _STATES:
        yield Around(rows, 0, apart=False)
        yield Around(min(rows, _LEAST_ASKED), 0, apart=False)
    else:
        yield Around(0, 0, apart=False)


def _arranged(slots: int, width: int, room: int, size: Size, besides: Sequence[bool]) -> tuple[int, Box] | None:
    """The number of columns, and the box of a slot: text below the word if that is possible, few rows, then few columns, so
    that a slot stays where it is when a line more or less is around it."""
    boxes = ((columns, box) for columns in range(1, slots + 1) for box in _boxes(slots, columns, width, room, size))
    found = [(columns, box) for columns, box in boxes if box.beside in besides]
    if not slots:
        return 1, Box(width, 0, size, beside=False)
    return min(found, key=lambda each: (each[1].beside, -(-slots // each[0]), each[0]), default=None)


def _boxes(slots: int, columns: int, width: int, room: int, size: Size) -> Iterator[Box]:
    wide, high = (width - columns + 1) // columns, room // -(-slots // columns)
    word = size.cells(_GLYPHS)
    if wide >= max(word, _LEAST_BELOW) and high >= 1 + size.rows + _LEAST_TEXT:
        yield Box(wide, min(high, 1 + size.rows + _MOST_TEXT), size, beside=False)
    if wide >= word + GAP + LEAST_BESIDE and high >= 1 + size.rows:
        yield Box(wide, min(high, 1 + size.rows + 1), size, beside=True)


def _whole(view: LineView, typed: str, plan: Plan, width: int, height: int, now: datetime, pen: Pen) -> Block:
    lines: Block = [header(view, width, now, pen)]
    for word, style in banners(view):
        rows = large(word, plan.size, ascii_only=pen.ascii_only)
        lines += [filled([(row, f"{style} letters")], width, centred=True) for row in rows]
    lines += _slots(view, plan, pen)
    lines += block(message(view, width, plan.around.message, pen), width, plan.around.message)
    lines.append(typed_line(typed, width, pen) if plan.around.apart else prompt(view, typed, width, pen))
    lines.append(counts(view, width, pen))
    return lines + below(view, width, height - len(lines), now, pen)


def _slots(view: LineView, plan: Plan, pen: Pen) -> Block:
    boxes = [drawn_slot(slot, plan.box, pen, small=view.refused) for slot in view.slots]
    while len(boxes) % plan.columns:
        boxes.append(empty(plan.box.width, plan.box.height))
    rows = (boxes[at : at + plan.columns] for at in range(0, len(boxes), plan.columns))
    return [line for row in rows for line in beside(row)]


def _too_small(view: LineView, typed: str, width: int, height: int, pen: Pen) -> Block:
    """All in words, the most important first."""
    said = f"the terminal is too small ({width} x {height}): make it larger, {EXPECTED[0]} x {EXPECTED[1]} at least"
    heads = [f"* {word} *" for word, _ in banners(view)]
    slots = [" ".join(each for each in (s.word or s.state, title_of(s), s.says) if each) for s in view.slots]
    asked = [view.asked.text] if view.asked else [view.message, view.do]
    texts = [each for each in (*heads, *slots, *asked, said) if each]
    lines: Block = [[(pen.text(text, width), "strong")] for text in texts]
    end = typed_line(typed, width, pen) if width > 9 and height > 1 else None
    room = height - 1 if end else height
    if len(lines) > room:
        lines = [*lines[: max(0, room - 1)], [(pen.text(said, width), "strong")]][:room]
    return [*(line for line in lines if cells(line[0][0]) <= width), *([end] if end else [])]
