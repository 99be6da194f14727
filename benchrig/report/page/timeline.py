"""When each step ran: its attempts, and all rounds of a repetition in one line."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple
from xml.etree import ElementTree as ET

from benchrig.html.drawing import picture, rectangle
from benchrig.html.elements import el
from benchrig.html.parts import section, table
from benchrig.record.model import Execution, Record
from benchrig.report import explain, whole
from benchrig.report.outline import Entry, Once, OverRounds, outline
from benchrig.report.page import bounds
from benchrig.source.problem import counted

_WIDTH, _HEIGHT = 560.0, 16.0
_HEADS = ("step", "begins", "takes", "attempts", "when")
# Of a repetition so many rounds are drawn.
_ROUNDS = 200
_STYLES = {"pass": "good", "fail": "bad", "error": "bad", "cut off": "bad"}


class Span(NamedTuple):
    """From when to when, and how it is drawn."""

    begin: float
    end: float
    style: str


class Ran(NamedTuple):
    """A step that ran, with what is drawn of it."""

    entry: Entry
    spans: list[Span]

    @property
    def begin(self) -> float:
        return self.spans[0].begin

    @property
    def seconds(self) -> float:
        return self.entry.seconds if isinstance(self.entry, OverRounds) else self.spans[-1].end - self.begin

    @property
    def attempts(self) -> str:
        if isinstance(self.entry, OverRounds):
            return f"{counted(self.entry.times, 'round')}, {self.entry.retried} repeated" if self.entry.retried else ""
        return str(self.entry.step.ended.attempts) if self.entry.step.ended else ""


def sections_of(record: Record) -> list[ET.Element]:
    last = max(whole.duration(record), 1e-6)
    ran = [each for entry in outline(record) if (each := Ran(entry, [*_spans(entry, last)])).spans]
    shown = bounds.most_telling(ran, bounds.STEPS, lambda each: each.entry.state in ("fail", "error", "cut off"))
    if not shown:
        return []
    says = (
        f"From the start of the run to its verdict after {last:.3f} s. A bar is an attempt: one that "
        "failed and was followed by another is pale, the last one has the colour of the verdict."
    )
    left = bounds.left_out(len(ran) - len(shown), "step", "record.jsonl has all of them")
    rows = [_row(each, last) for each in shown]
    return [section("Time line", el("p", says, class_="dim"), *([el("p", left, class_="notice")] if left else []),
                    table("Time line", _HEADS, rows, numbers=("begins", "takes", "attempts"), class_="times"),
                    id_="time-line")]  # fmt: skip


def _row(ran: Ran, last: float) -> ET.Element:
    entry = ran.entry
    title = whole.over_title(entry) if isinstance(entry, OverRounds) else explain.title(entry.step)
    title += " (finally)" if "finally" in (entry.node.section, entry.node.part) else ""
    says = f"{title}: {entry.state}, from {ran.begin:.3f} s for {ran.seconds:.3f} s"
    return el("tr", el("th", "\N{EM SPACE}" * min(entry.depth, 8), title, scope="row"),
              el("td", f"{ran.begin:.3f} s", class_="n"), el("td", f"{ran.seconds:.3f} s", class_="n"),
              el("td", ran.attempts, class_="n"), el("td", _drawn(ran, last, says)))  # fmt: skip


def _drawn(ran: Ran, last: float, says: str) -> ET.Element:
    height = 6.0 if ran.entry.is_composite else 12.0
    shapes = [rectangle(0, _HEIGHT / 2, _WIDTH, 0.5, "axis")]
    for span in ran.spans:
        x, width = _WIDTH * span.begin / last, _WIDTH * (span.end - span.begin) / last
        shapes.append(rectangle(min(x, _WIDTH - 1.5), (_HEIGHT - height) / 2, max(1.5, width), height, span.style))
    return picture(says, _WIDTH, _HEIGHT, *shapes, class_="span")


def _spans(entry: Entry, last: float) -> Iterator[Span]:
    if isinstance(entry, Once):
        yield from _attempts(entry.step, last)
    else:
        for step in entry.executions[:_ROUNDS]:
            yield from _attempts(step, last)


def _attempts(step: Execution, last: float) -> Iterator[Span]:
    """Each attempt of one execution; nothing of one that did not begin."""
    if step.opened is None:
        return
    begin = step.opened.at
    for failed in step.retries:
        yield Span(begin, failed.at, "again")
        begin = failed.at
    yield Span(begin, step.ended.at if step.ended else last, _STYLES.get(explain.state(step), "other"))
