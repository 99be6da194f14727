"""The page from its parts."""

from __future__ import annotations

from benchrig.html.document import document
from benchrig.html.elements import el
from benchrig.html.parts import contents
from benchrig.record.model import Record
from benchrig.report import explain, whole
from benchrig.report.page import head, octets, others, readings, samples, source, timeline
from benchrig.report.page.style import STYLE

GENERATOR = "benchrig run"


def page(record: Record) -> bytes:
    ids = source.anchors(record)
    sections = [*readings.failed_of(record, ids), readings.section_of(record, ids), *samples.sections_of(record), *others.sections_of(record),
                *timeline.sections_of(record), source.section_of(record, ids), *octets.sections_of(record)]  # fmt: skip
    words = ", ".join([explain.outcome(record).upper(), *whole.marks(record)])
    title = f"{words}: {explain.plan_name(record)}, {explain.unit_names(record)[0]}"
    return document(title, GENERATOR, head.head(record), contents(sections), el("main", *sections), style=STYLE)
