"""Every step with its readings, in numbers and as bars."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from benchrig.html.elements import Child, el
from benchrig.html.parts import section, stacked, wide
from benchrig.record.events import Reading, Samples
from benchrig.record.model import Execution, Record
from benchrig.report import explain, whole
from benchrig.report.outline import NOT_JUDGED, Entry, Once, OverRounds, ReadingOverRounds, outline, verdict_over
from benchrig.report.page import bounds
from benchrig.report.page.bars import Measured, bar
from benchrig.text.escape import plain, value_text
from benchrig.values.judging import Judgement
from benchrig.values.quantity import as_float

_HEADS = ("reading", "verdict", "measured", "low", "high", "units", "against its limit")
_BAD = frozenset({"fail", "error", "cut off"})
_CELL = 120


@dataclass(frozen=True)
class Line:
    """One reading as it is shown; `verdict` is '' where nothing was judged."""

    name: str
    measured: str
    unit: str
    verdict: str
    judgement: Judgement | None = None
    numbers: Measured | None = None


@dataclass(frozen=True)
class Step:
    """A step with its lines."""

    entry: Entry
    lines: list[Line]

    @property
    def title(self) -> str:
        entry = self.entry
        name = whole.over_title(entry) if isinstance(entry, OverRounds) else explain.telling_title(entry.step)
        return f"{name} (finally)" if "finally" in (entry.node.section, entry.node.part) else name

    @property
    def is_bad(self) -> bool:
        return self.entry.state in _BAD

    @property
    def says(self) -> str:
        if isinstance(self.entry, OverRounds):
            return whole.summary(self.entry)
        return explain.attempts(self.entry.step, causes=False)


def section_of(record: Record, ids: Mapping[str, str]) -> ET.Element:
    steps = [Step(entry, [*_lines(entry)]) for entry in outline(record)]
    rows = [(step, line) for step in steps for line in step.lines]
    shown = bounds.most_telling(rows, bounds.READINGS, lambda row: row[0].is_bad or row[1].verdict == "fail")
    kept = bounds.most_telling(steps, bounds.READINGS, lambda step: step.is_bad)
    lines: dict[int, list[Line]] = {}
    for step, line in shown:
        lines.setdefault(id(step), []).append(line)
    bodies = [_body(step, lines.get(id(step), []), ids) for step in kept]
    where = "readings.csv has all of them"
    left = [
        bounds.left_out(len(rows) - len(shown), "reading", where),
        bounds.left_out(len(steps) - len(kept), "step", where),
    ]
    return section("Readings", *(el("p", each, class_="notice") for each in left if each),
                   _table("Readings", bodies), id_="readings")  # fmt: skip


def failed_of(record: Record, ids: Mapping[str, str]) -> Iterator[ET.Element]:
    """The steps that failed, each with what failed in it; nothing where all passed."""
    steps = [Step(entry, [line for line in _lines(entry) if _is_bad(line)]) for entry in outline(record)]
    bad = [step for at, step in enumerate(steps) if step.lines or (step.is_bad and not _holds_another(steps, at))]
    if bad:
        left = bounds.left_out(max(0, len(bad) - bounds.FAILED), "step", "see the readings")
        bodies = [_body(step, step.lines[: bounds.FAILED], ids) for step in bad[: bounds.FAILED]]
        yield section("What failed", *([el("p", left, class_="notice")] if left else []), _table("What failed", bodies),
                      id_="failed")  # fmt: skip


def _is_bad(line: Line) -> bool:
    return line.verdict.startswith("fail") or line.verdict == NOT_JUDGED


def _holds_another(steps: Sequence[Step], at: int) -> bool:
    """Whether a step within it tells more of its failure."""
    for each in steps[at + 1 :]:
        if each.entry.depth <= steps[at].entry.depth:
            return False
        if each.is_bad or each.lines:
            return True
    return False


def _table(name: str, bodies: Sequence[ET.Element]) -> ET.Element:
    head = el("tr", *(el("th", text, scope="col") for text in _HEADS))
    return wide(name, el("table", el("thead", head), *bodies, class_="plain stack readings"))


def _body(step: Step, lines: list[Line], ids: Mapping[str, str]) -> ET.Element:
    entry, id_ = step.entry, ids.get(step.entry.node.place, "")
    title: Child = el("a", step.title, href=f"#{id_}") if id_ else step.title
    state = el("span", entry.state, class_=_style(entry.state))
    says: list[Child] = [" ", el("span", step.says, class_="dim")] if step.says else []
    told = [*_why(entry)] if step.is_bad else []
    head = el(
        "th",
        "\N{EM SPACE}" * min(entry.depth, 8),
        title,
        " ",
        state,
        *says,
        *told,
        colspan=len(_HEADS),
        scope="rowgroup",
    )
    return el("tbody", el("tr", head, class_="step open" if step.is_bad else "step"), *map(_row, lines))


def _why(entry: Entry) -> Iterator[ET.Element]:
    steps = [entry.step] if isinstance(entry, Once) else entry.failed[:1]
    for step in steps:
        said = explain.said(step) if step.ended else explain.CUT_OFF
        yield el("div", plain(said, explain.SENTENCE_LIMIT), class_="why")


def _row(line: Line) -> ET.Element:
    judgement = line.judgement
    low, high = _edges(judgement)
    verdict = el("td", line.verdict or "–", class_=_style(line.verdict))
    cells = [el("th", line.name, scope="row"), verdict, el("td", line.measured, class_="n"), el("td", low, class_="n"),
             el("td", high, class_="n"), el("td", line.unit), el("td", *_against(line))]  # fmt: skip
    return stacked(el("tr", *cells, class_="" if judgement else "dim"), _HEADS)


def _edges(judgement: Judgement | None) -> tuple[str, str]:
    if judgement is None:
        return "", ""
    return value_text(judgement.low, _CELL), value_text(judgement.high, _CELL)


def _against(line: Line) -> Iterator[Child]:
    """A bar where the limit is one of numbers; else, and under a guard band, the limit in words."""
    judgement = line.judgement
    if judgement is None:
        return
    limit = plain(judgement.limit, _CELL)
    says = f"{line.name}: {line.measured} {line.unit}, limit {limit}: {line.verdict}"
    drawn = bar(line.numbers, judgement, says) if line.numbers is not None else None
    if drawn is not None:
        yield drawn
    if drawn is None or judgement.guard or judgement.confidence is not None:
        yield limit + _shown_with(judgement)


def _shown_with(judgement: Judgement) -> str:
    """What a bar does not tell: a guard band, and what rounds have shown."""
    told = [plain(judgement.guard, _CELL)] if judgement.guard else []
    if judgement.confidence is not None:
        edges = {"at least": judgement.at_least, "at most": judgement.at_most}
        told.append(f"with {value_text(judgement.confidence)} % confidence")
        told += [f"{word} {value_text(edge)}" for word, edge in edges.items() if edge is not None]
    return f" ({', '.join(told)})" if told else ""


def _style(verdict: str) -> str:
    return {"pass": "good", "": "dim", "skip": "dim", "left out": "dim"}.get(verdict, "bad")


# --- from the record


def _lines(entry: Entry) -> Iterator[Line]:
    if isinstance(entry, OverRounds):
        yield from (_over(reading) for reading in entry.readings.values() if reading.count or verdict_over(reading))
    else:
        yield from _once(entry.step)


def _once(step: Execution) -> Iterator[Line]:
    left = {limit.name: NOT_JUDGED for limit in explain.unmeasured(step)}
    left |= {limit.name: "left out" for limit in step.not_judged if whole.is_left_out(step, limit)}
    for reading in step.readings:
        if reading.judgement is not None or not reading.access:
            yield _line(reading, left.pop(reading.name, ""))
    yield from (Line(plain(name, _CELL), "", "", word) for name, word in left.items())


def _line(reading: Reading, left: str) -> Line:
    judgement = reading.judgement
    verdict = left if judgement is None else "pass" if judgement.passed else "fail"
    many = f" (n={reading.samples.count}{', so far' if reading.partial else ''})" if reading.samples else ""
    name = plain(reading.name, _CELL) + many
    return Line(name, explain.measured(reading, _CELL), plain(reading.unit, 12), verdict, judgement, _numbers(reading))


def _numbers(reading: Reading) -> Measured | None:
    if reading.samples is not None and reading.samples.minimum is not None:
        return _of_samples(reading.samples)
    number = as_float(reading.value)
    return None if number is None else Measured(number, number, number)


def _of_samples(samples: Samples) -> Measured | None:
    least, greatest = samples.minimum, samples.maximum
    if least is None or greatest is None:
        return None
    return Measured(least, greatest, least if samples.mean is None else samples.mean)


def _over(reading: ReadingOverRounds) -> Line:
    samples, numbers, measured = reading.samples, None, ""
    if samples is not None:
        numbers, measured = _of_samples(samples), explain.from_to(samples, _CELL)
    elif reading.last is not None:
        measured = explain.measured(reading.last, _CELL)
    failed = f" {reading.failed} of {reading.failed + reading.passed}" if reading.failed else ""
    judgement = reading.judgement
    name = f"{plain(reading.name, _CELL)} (n={reading.count})"
    verdict = verdict_over(reading)
    return Line(name, measured, plain(reading.unit, 12), verdict + failed, judgement, numbers)
