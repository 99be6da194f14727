"""What a run was at a line, in words and as cells of a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from benchrig.record.purposes import OF_THE_STATION
from benchrig.report.explain import NAME_LIMIT
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.record.line_part import LinePart
    from benchrig.record.model import Record

COLUMNS = ("purpose", "product", "slot", "person", "shift", "proof", "reference", "first_run", "again")
# What to do after a run that checks the station, or only cleans up, by purpose and verdict.
_TO_DO = {
    ("golden", "pass"): "Nothing: this unit checks the station, and all its limits held.",
    ("golden", "fail"): "Check the station before it tests other units: its golden unit failed.",
    ("known bad", "pass"): "Check the station before it tests other units: a unit that is known to be bad passed.",
    ("known bad", "fail"): "Nothing on the unit: it is known to be bad, and checks the station.",
    ("clean-up", "pass"): "Test the unit anew: this run only put it in order, and judged nothing of it.",
    ("clean-up", "fail"): "Put the unit in order by hand, and test it anew: its clean-up failed.",
}
# What its end means, in place of what that means for other units.
_CAME_TO = {
    ("clean-up", 0): "the clean-up was done, and the unit was not tested",
    ("clean-up", 1): "the clean-up failed, and the unit was not tested",
}


def cells(record: Record) -> dict[str, Any]:
    """By COLUMNS; '' and 0 of a run that was at no line."""
    line = record.run.line
    if line is None:
        return dict.fromkeys(COLUMNS, "") | {"again": 0}
    told = (
        line.purpose,
        line.product,
        line.slot,
        line.person,
        line.shift,
        line.proof,
        line.reference,
        line.first,
        line.again,
    )
    return dict(zip(COLUMNS, told, strict=True))


def mark(record: Record) -> str:
    """'GOLDEN UNIT' of a run that says nothing of the units that are made; else ''."""
    return OF_THE_STATION.get(_purpose(record), "").upper()


def where(record: Record) -> str:
    """'slot 2, product fridge logger, shift 2026-11-27 early, person Anna; proven by …'; '' at no line."""
    line = record.run.line
    if line is None:
        return ""
    named = {"slot": line.slot, "product": line.product, "shift": line.shift, "person": line.person}
    told = ", ".join(f"{name} {plain(value, NAME_LIMIT)}" for name, value in named.items() if value)
    return told + (f"; in the slot: {plain(line.proof, NAME_LIMIT)}" if line.proof else "")


def purpose(record: Record) -> str:
    """'golden unit G1', 'retest 1 of a unit whose first run is 0d6f3c1e'; '' of a first test."""
    line = record.run.line
    if line is None or line.purpose == "unit":
        return ""
    if line.purpose in OF_THE_STATION:
        return f"{OF_THE_STATION[line.purpose]} {plain(line.reference, NAME_LIMIT)}".strip()
    return _again(line)


def _again(line: LinePart) -> str:
    what = f"retest {line.again or ''}".strip() if line.purpose == "retest" else "after a repair"
    return what + (f" of a unit whose first run is {plain(line.first, NAME_LIMIT)}" if line.first else "")


def to_do(record: Record) -> str:
    """Of a run that says nothing of the units that are made, where its verdict is pass or fail; else ''."""
    return _TO_DO.get((_purpose(record), str(record.ended.verdict if record.ended else "")), "")


def came_to(record: Record, meaning: str) -> str:
    """What the exit code means: 'the unit passed' is said of no clean-up, and of a golden unit by this name."""
    code, what = (record.ended.exit_code if record.ended else -1), _purpose(record)
    if (what, code) in _CAME_TO:
        return _CAME_TO[what, code]
    name = OF_THE_STATION.get(what, "")
    return meaning.replace("the unit ", f"the {name} ", 1) if name and code in (0, 1) else meaning


def _purpose(record: Record) -> str:
    return record.run.line.purpose if record.run.line else ""
