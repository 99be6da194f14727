"""What is around the slots: who and where, what the line waits for or asks, the shift's figures, the last units."""

from __future__ import annotations

from datetime import datetime

from benchrig.line.view import Asked, LastUnit, LineView, asked_of
from benchrig.line_screen.letters import SIGNS
from benchrig.line_screen.pieces import Block, Pen, cells, filled
from benchrig.line_screen.slots import STYLES
from benchrig.source.problem import counted
from benchrig.text.wrapping import Line

# Of a long question at most so many lines are shown: more than any caution should have.
_MOST_ASKED = 14
_GAP = "  "
# Of what is typed so many cells are shown where it shares a line.
_TYPED = 24
ENDS = "ends after these units"


def header(view: LineView, width: int, now: datetime, pen: Pen) -> Line:
    """The station, what is the matter with it, the shift, who is on it, and the time of day."""
    shift = f"shift {view.shift}" if view.shift else ""
    state = view.state.upper() if view.state in ("locked", "stopped") else ""
    matters = " ".join(each for each in ("REHEARSAL" * view.rehearsal, ENDS * view.ends, state) if each)
    said = _GAP.join(each for each in (view.station, matters, view.person or "nobody on shift", shift) if each)
    clock = f"{now:%H:%M} "
    return [(pen.filled(f" {said}", width - len(clock)), "title"), (clock, "title")]


# --- what the line waits for


def message(view: LineView, width: int, rows: int, pen: Pen) -> Block:
    """The open question, else what is the matter and what to do."""
    if view.asked is not None:
        return _asked(view.asked, width, rows, pen)
    style = "stop strong" if view.state in ("locked", "stopped") else "refused strong" if view.refused else "strong"
    says = pen.paragraph(view.message, width - 2, max(1, rows - 1), style)
    lines: Block = [*says, *pen.paragraph(view.do, width - 2, rows - len(says))]
    return [[(" ", ""), *line] for line in lines[:rows]]


def rows_of_message(view: LineView, width: int, pen: Pen) -> int:
    """The lines that show all of it."""
    return len(message(view, width, _MOST_ASKED, pen))


def _asked(asked: Asked, width: int, rows: int, pen: Pen) -> Block:
    where = asked_of(asked)
    left = f"{_GAP}{asked.left:.0f} s left" if asked.left is not None else ""
    head: Line = [(pen.filled(f" {where}{left}", width), "ask title")]
    choice = _choice(asked)
    end = [*pen.paragraph(asked.problem, width - 2, 1, "stop"), *pen.paragraph(choice, width - 2, 1, "strong")]
    texts = pen.paragraph(asked.text, width - 2, max(1, rows - 1 - len(end)), "ask")
    return [head, *([(" ", ""), *line] for line in (*texts, *end))][:rows]


def _choice(asked: Asked) -> str:
    """What is to be done: nothing while nobody can have read the question."""
    if asked.early:
        return "read the question"
    if asked.scan:
        return f"scan the label of {asked.unit}, the unit that you look at; then answer"
    return f"answer: {' / '.join(asked.options)}" if asked.options else "type or scan the answer"


# --- what is typed


def typed_line(text: str, width: int, pen: Pen, before: Line = ()) -> Line:
    """The end of what is typed, with a mark where the next character comes."""
    room = max(1, width - sum(cells(part) for part, _ in before) - 4)
    return filled([*before, (" > ", "strong"), (pen.tail(text, room), "strong"), (" ", "cursor")], width)


def prompt(view: LineView, text: str, width: int, pen: Pen) -> Line:
    """Where room is short: what the line waits for, and what is typed, in one line."""
    if view.asked is not None or view.state in ("locked", "stopped"):
        return typed_line(text, width, pen)
    said = "".join(f" {each}" for each in (view.message, view.do) if each)
    room = width - 5 - min(_TYPED, cells(pen.tail(text, _TYPED)))
    return typed_line(text, width, pen, [(pen.text(said, room), "strong")])


# --- figures


def counts(view: LineView, width: int, pen: Pen) -> Line:
    """The shift's figures, as many as fit; the first ones matter most."""
    made: list[tuple[str, str]] = []
    left = width
    for text, style in _figures(view):
        if cells(text) + len(_GAP) <= left:
            made += [(" " if not made else _GAP, ""), (pen.text(text, left), style)]
            left = width - sum(cells(part) for part, _ in made)
    return filled(made, width)


def _figures(view: LineView) -> list[tuple[str, str]]:
    seen = view.counts
    share = f"first pass {100 * seen.first_pass:.1f} %" if seen.first_pass is not None else "first pass –"
    made = [(counted(seen.judged, "unit"), "strong"), (share, "strong")]
    if view.waiting:
        made.append((f"{len(view.waiting)} waiting", "note"))
    if (takt := _takt(view)) is not None:
        made.append(takt)
    made += [(f"{seen.failed_first} failed", "fail" if seen.failed_first else "")]
    made += [(f"{seen.not_judged} not judged", "stop" if seen.not_judged else "")]
    return [*made, (counted(seen.retests, "retest"), "")]


def _takt(view: LineView) -> tuple[str, str] | None:
    """The last unit's time against the takt, in words too."""
    if view.takt is None:
        return None
    if view.last_takt is None:
        return f"takt {view.takt:.0f} s", ""
    how, style = ("late", "fail") if view.last_takt > view.takt else ("in time", "pass")
    return f"{view.last_takt:.0f} s / takt {view.takt:.0f} s: {how}", style


# --- below


def below(view: LineView, width: int, rows: int, now: datetime, pen: Pen) -> Block:
    """Units that wait, notes, the last units: as many as there are lines for; a unit or two in any case."""
    waits = (
        f"{counted(len(view.waiting), 'unit')} waiting for a slot: {', '.join(view.waiting)}" if view.waiting else ""
    )
    notes = [f" {waits}"] * bool(waits) + [f" * {note}" for note in view.notes]
    kept = notes[: max(1, rows - 2)] if rows > 1 else notes[:rows]
    made: Block = [[(pen.text(note, width), "note")] for note in kept]
    return [*made, *(_last(unit, width, now, pen) for unit in view.last[: rows - len(made)])]


def _last(unit: LastUnit, width: int, now: datetime, pen: Pen) -> Line:
    sign = SIGNS.get(unit.word, " ")
    where = f"slot {unit.slot}" if unit.slot else ""
    purpose = "" if unit.purpose == "unit" else unit.purpose
    head: list[tuple[str, str]] = [(f" {unit.at.astimezone(now.tzinfo):%H:%M} ", "dim")]
    head.append((f"{sign} {unit.word:4} ", STYLES.get(unit.word, "")))
    rest = "  ".join(each for each in (unit.serial, where, purpose, unit.says) if each)
    return [*head, (pen.text(rest, width - sum(cells(text) for text, _ in head)), "")]
