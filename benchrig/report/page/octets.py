"""The bytes behind readings, and those that were sent: shown when somebody asks for them."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from benchrig.html.elements import el
from benchrig.html.parts import details, row, section, table
from benchrig.record.model import Execution, Record
from benchrig.record.secrets import MASK
from benchrig.report import explain
from benchrig.report.page import bounds
from benchrig.text.escape import hex_text, plain

# The most bytes of one value.
_MOST = 256


def sections_of(record: Record) -> list[ET.Element]:
    steps = [(step, rows) for step in record.executions if (rows := [*_rows(step)])]
    shown = bounds.most_telling(steps, bounds.OCTETS, lambda each: explain.state(each[0]) in ("fail", "error"))
    if not shown:
        return []
    left = bounds.left_out(len(steps) - len(shown), "step", "record.jsonl has all of them")
    note = [el("p", left, class_="notice")] if left else []
    parts = (
        details(explain.title(step), table(f"Bytes of {explain.title(step)}", ("what", "bytes"), rows))
        for step, rows in shown
    )
    return [section("Bytes", *note, *parts, id_="bytes")]


def _rows(step: Execution) -> Iterator[ET.Element]:
    for note in step.notes:
        if note.sent is not None:
            yield row("sent", _code(note.sent))
    for reading in step.readings:
        if reading.raw is not None:
            yield row(plain(reading.name, explain.NAME_LIMIT), _code(reading.raw))


def _code(octets: str) -> ET.Element:
    return el("code", octets if octets == MASK else hex_text(octets, _MOST))
