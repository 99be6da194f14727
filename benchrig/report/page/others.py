"""What is neither a reading nor a time: access matrices, what was not done, notes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from xml.etree import ElementTree as ET

from benchrig.html.elements import el
from benchrig.html.parts import row, section, table
from benchrig.record.model import Record
from benchrig.report import access, explain, whole

_MOST = 200
_LISTS: tuple[tuple[str, Callable[[Record], Iterator[str]]], ...] = (
    ("skipped", whole.skipped), ("limits left out", whole.limits_left_out), ("not judged", whole.not_judged),
    ("tolerated", whole.tolerated), ("tried again", whole.retries), ("shown over rounds", whole.shown),
)  # fmt: skip


def sections_of(record: Record) -> list[ET.Element]:
    return [*_access(record), *_undone(record), *_notes(record)]


def _undone(record: Record) -> Iterator[ET.Element]:
    parts = [part for word, of in _LISTS for part in _listed(word, [*of(record)])]
    if parts:
        yield section("What a reader should know", *parts, id_="know")


def _notes(record: Record) -> Iterator[ET.Element]:
    if notes := [*whole.notes(record)]:
        yield section("Notes", *_listed("", notes), id_="notes")


def _listed(word: str, lines: list[str]) -> Iterator[ET.Element]:
    if not lines:
        return
    if word:
        yield el("h3", word.capitalize())
    yield el("ul", *(el("li", line) for line in lines[:_MOST]))
    if len(lines) > _MOST:
        yield el("p", f"and {len(lines) - _MOST} more, which record.jsonl has", class_="notice")


def _access(record: Record) -> Iterator[ET.Element]:
    for number, matrix in enumerate(access.matrices(record), 1):
        rows = [_operation(line, matrix.links) for line in matrix.lines]
        heads = ("attribute", "operation", "needs", *matrix.links)
        name = f"Access, step {explain.title(matrix.step)}"
        told = [el("p", each, class_="dim") for each in matrix.reasons]
        yield section(name, table(name, heads, rows), *told, id_=f"access-{number}")


def _operation(line: access.Line, links: list[str]) -> ET.Element:
    found = (line.cells.get(link) for link in links)
    cells = [el("td", access.answer(cell), class_="bad" if cell and cell.differs else "") for cell in found]
    made = row(line.attribute, line.operation, line.needs, class_="open" if line.differs else "")
    made.extend(cells)
    return made
