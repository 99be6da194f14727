"""A slot as a rectangle: its title, and below it the verdict with what it means, or what is done now."""

from __future__ import annotations

from dataclasses import dataclass

from benchrig.line.view import SlotView
from benchrig.line_screen.letters import SIGNS, Size, large
from benchrig.line_screen.pieces import Block, Pen, beside, block, filled
from benchrig.text.wrapping import Line

STYLES = {"PASS": "pass", "FAIL": "fail", "STOP": "stop"}
# What is large beside verdicts, in another colour: a unit that may be taken out once its label is scanned.
SCAN = "SCAN"
# And the unit that the open question is about.
ASK = "ASK"
_STATES = {
    "empty": "free", "proving": "finding out which unit it is", "waiting": "waiting for its turn",
    "running": "being tested", "ended": "done", "off": "out of use",
}  # fmt: skip
_PURPOSES = {"unit": "", "golden": "golden unit", "known bad": "known-bad unit"}
# Beside a word this much has to be left for text.
LEAST_BESIDE = 12
GAP = 1


@dataclass(frozen=True)
class Box:
    """Where a slot is drawn: `beside` has its text right of the word, not below it."""

    width: int
    height: int
    size: Size
    beside: bool


def title_of(slot: SlotView) -> str:
    """Which slot, which unit, and what for."""
    purpose = _PURPOSES.get(slot.purpose, slot.purpose)
    return "  ".join(each for each in (f"slot {slot.name}", slot.serial, purpose) if each)


def drawn_slot(slot: SlotView, box: Box, pen: Pen, *, small: bool = False) -> Block:
    """Exactly as many lines as the box has, of its width; `small`: without a large word."""
    style = STYLES.get(slot.word, "")
    title: Line = [(pen.filled(f" {title_of(slot)}", box.width), f"{style} title".strip())]
    large_word = not small and (slot.word or slot.asks or _is_held(slot))
    body = _judged(slot, box, pen) if large_word else _at_work(slot, box, pen)
    return [title, *body]


def _is_held(slot: SlotView) -> bool:
    return slot.state == "ended" and slot.release


def _judged(slot: SlotView, box: Box, pen: Pen) -> Block:
    text, word = slot.word or (ASK if slot.asks else SCAN), slot.word
    style = STYLES.get(word, "ask")
    shown = f"{SIGNS[word]}{word}" if word else text
    rows: Block = [[(row, f"{style} letters")] for row in large(shown, box.size, ascii_only=pen.ascii_only)]
    height = box.height - 1
    if not box.beside:
        below = height - len(rows)
        texts = _texts(slot, box.width, below, pen)
        return block([*rows, *texts], box.width, height, centred=True)
    taken = box.size.cells(5)
    texts = _texts(slot, box.width - taken - GAP, height, pen)
    return beside([block(rows, taken, height), block(texts, box.width - taken - GAP, height)], GAP)


def _texts(slot: SlotView, width: int, rows: int, pen: Pen) -> Block:
    """What was wrong, then what to do, which has a line in any case."""
    do = pen.paragraph(slot.do, width, max(1, rows // 2), "strong")
    says = pen.paragraph(slot.says, width, rows - len(do))
    return [*says, *pen.paragraph(slot.do, width, rows - len(says), "strong")]


def _at_work(slot: SlotView, box: Box, pen: Pen) -> Block:
    """A test that is under way, or what the slot waits for."""
    height, width = box.height - 1, box.width
    lines = _progress(slot, box, pen) if slot.state == "running" and slot.of else _waits(slot, width, height, pen)
    above = max(0, (height - len(lines)) // 2)
    return block([*([[("", "")]] * above), *lines], width, height, centred=True)


def _waits(slot: SlotView, width: int, rows: int, pen: Pen) -> Block:
    said = slot.word or (SCAN if _is_held(slot) else _STATES[slot.state])
    state: Line = [(pen.text(said, width), "dim" if slot.state in ("empty", "off") else "")]
    return [state, *_texts(slot, width, rows - 1, pen)]


def _progress(slot: SlotView, box: Box, pen: Pen) -> Block:
    long = max(4, box.width - 4)
    full, rest = pen.bar
    done = min(long, long * slot.done // slot.of)
    bar: Line = [(full * done, "work"), (rest * (long - done), "dim")]
    thick = 1 if box.beside else max(1, box.size.rows // 3)
    head = f"step {slot.done} of {slot.of}  {slot.seconds:.0f} s"
    return [[(pen.text(head, box.width), "")], *([bar] * thick), [(pen.text(slot.step, box.width), "strong")]]


def empty(width: int, height: int) -> Block:
    """Where the last row has fewer slots than the others."""
    return [filled([], width) for _ in range(height)]
