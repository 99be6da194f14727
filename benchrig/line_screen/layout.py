"""Where all of a view is on a screen of a given size."""

from __future__ import annotations

from benchrig.line.view import LineView
from benchrig.text.wrapping import Line


def drawn(view: LineView, typed: str, width: int, height: int, *, ascii_only: bool = False) -> list[Line]:
    """As many lines as the screen has, none wider than it."""
    lines: list[Line] = [[(f"{view.station}  {view.message}", "bold")]]
    for slot in view.slots:
        lines.append([(f"{slot.name}: {slot.word or slot.state} {slot.serial} {slot.says} {slot.do}", "")])
    lines.append([(f"> {typed}", "")])
    return lines[:height]
