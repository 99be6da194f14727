"""The text of the plan, as it was when the run began, with the verdict beside each line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import NamedTuple
from xml.etree import ElementTree as ET

from benchrig.html.elements import el
from benchrig.html.parts import details, section, wide
from benchrig.record.events import PlanSource
from benchrig.record.model import Record
from benchrig.report import explain
from benchrig.report.outline import Entry, OverRounds, outline, verdict_over
from benchrig.report.page import bounds
from benchrig.source.problem import counted
from benchrig.text.escape import plain

_EARLIER = "The record has no text of the plan: it was written by an earlier version of benchrig."
_OF_PYTHON = "The steps of this run were asked for in Python: no file has them."
_HEADS = ("line", "verdict", "text")
_MARKS = 4
_BAD = ("fail", "error", "cut off")


class Mark(NamedTuple):
    """What is said beside a line."""

    verdict: str
    says: str

    @property
    def style(self) -> str:
        return "bad" if self.verdict in _BAD else "good" if self.verdict == "pass" else "dim"


def anchors(record: Record) -> dict[str, str]:
    """The ids of the lines that are shown, by their places: 'plan.yaml:12'."""
    shown = [(number, each.file, line) for number, each in enumerate(record.run.plan_text, 1)
             for line in range(1, each.text.count("\n") + 2)]  # fmt: skip
    return {f"{file}:{line}": f"line-{number}-{line}" for number, file, line in shown[: bounds.LINES]}


def section_of(record: Record, ids: Mapping[str, str]) -> ET.Element:
    texts = record.run.plan_text
    if not texts:
        return section("Plan", el("p", _OF_PYTHON if _grew(record) else _EARLIER, class_="dim"), id_="plan")
    marks = _marks(record)
    # a file of names has nothing to tell beside its lines
    files = {texts[0].file, *(place.rpartition(":")[0] for place in marks)}
    parts = [_file(each, marks, ids) for each in texts if each.file in files]
    says = "The text as it was when the run began. Secret values are hidden in it."
    return section("Plan", el("p", says, class_="dim"), *parts, id_="plan")


def _grew(record: Record) -> bool:
    return not any(node.place for node in record.run.nodes)


def _file(source: PlanSource, marks: Mapping[str, list[Mark]], ids: Mapping[str, str]) -> ET.Element:
    lines = source.text.split("\n")
    numbered = ((f"{source.file}:{number}", number, text) for number, text in enumerate(lines, 1))
    rows = [_line(number, text, marks.get(place, []), ids[place]) for place, number, text in numbered if place in ids]
    table = el("table", el("thead", el("tr", *(el("th", head, scope="col") for head in _HEADS))), el("tbody", *rows),
               class_="plain source")  # fmt: skip
    left = bounds.left_out(len(lines) - len(rows) + source.left_out, "line", "the file of the plan has them")
    note = [el("p", left, class_="notice")] if left else []
    name = plain(source.file, explain.NAME_LIMIT)
    return details(f"{name}, {counted(len(lines) + source.left_out, 'line')}", *note, wide(name, table), open_=True)


def _line(number: int, text: str, said: list[Mark], id_: str) -> ET.Element:
    shown = [part for mark in said[:_MARKS] for part in (el("span", f"{mark.verdict} ", class_=mark.style),
                                                          el("span", mark.says, " ", class_="dim"))]  # fmt: skip
    more = [f"and {len(said) - _MARKS} more"] if len(said) > _MARKS else []
    bad = any(mark.verdict in _BAD for mark in said)
    return el("tr", el("td", str(number)), el("td", *shown, *more), el("td", text),
              id=id_ if said else "", class_="open" if bad else "")  # fmt: skip


# --- what is said of each line


def _marks(record: Record) -> Mapping[str, list[Mark]]:
    """By the place of a step or a limit."""
    marks: defaultdict[str, list[Mark]] = defaultdict(list)
    for entry in outline(record):
        if entry.node.place:
            marks[entry.node.place].append(Mark(entry.state, _step_says(entry)))
        for place, mark in _limits(entry):
            marks[place].append(mark)
    return marks


def _step_says(entry: Entry) -> str:
    if isinstance(entry, OverRounds):
        return f"step {entry.node.id}, {counted(entry.times, 'round')}"
    return f"step {entry.node.id}"


def _limits(entry: Entry) -> Iterator[tuple[str, Mark]]:
    if isinstance(entry, OverRounds):
        for over in entry.readings.values():
            if over.judgement is not None and over.judgement.place:
                count = f"{over.failed} of {over.failed + over.passed} outside" if over.failed else ""
                yield over.judgement.place, Mark(verdict_over(over), count)
        return
    for reading in entry.step.readings:
        judgement = reading.judgement
        if judgement is not None and judgement.place:
            measured = f"{explain.measured(reading, 40)} {plain(reading.unit, 12)}".rstrip()
            yield judgement.place, Mark("pass" if judgement.passed else "fail", measured)
