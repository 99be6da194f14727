"""Which step notices what: first by what is broken, in numbers, then fault by fault."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple
from xml.etree import ElementTree as ET

from benchrig.escapes.coverage import noticed
from benchrig.escapes.page.columns import Column, columns_of, edges_of, heads
from benchrig.escapes.page.things import OPEN, Thing, open_of, split
from benchrig.escapes.results import Catch, Hunted, Result
from benchrig.escapes.telling import sentence, told_by
from benchrig.html.elements import el
from benchrig.html.parts import section, wide
from benchrig.source.problem import counted


class _Mark(NamedTuple):
    sign: str
    class_: str


_FIRST, _ALSO, _WRONG = _Mark("●", "first"), _Mark("○", "also"), _Mark("✗", "wrong")


def overview(hunted: Hunted, things: Sequence[Thing]) -> ET.Element:
    """How many faults of each thing each step noticed first."""
    columns = columns_of(hunted)
    rows = [_numbers(each.name, each.results, columns, link=each.id) for each in things]
    total = _numbers("all", hunted.results, columns)
    inner = el(
        "table", heads(columns, ("", "faults", "not caught")), el("tbody", *rows), el("tfoot", total), class_="matrix"
    )
    says = el("p", "How many faults of each thing each step noticed first.")
    return section("Steps by what is broken", says, wide("Steps by what is broken", inner, "wide high"), id_="overview")


def _numbers(name: str, results: Sequence[Result], columns: Sequence[Column], link: str = "") -> ET.Element:
    first = Counter(catches[0].node for each in results if (catches := noticed(each)))
    missed, edges = len(open_of(results)), edges_of(columns)
    made = el(
        "tr",
        el("th", el("a", name, href=f"#{link}") if link else name, scope="row", class_="name"),
        el("td", str(len(results)), class_="n"),
        el("td", str(missed or ""), class_="n missed" if missed else ""),
    )
    for node, edge in edges.items():
        count = first[node]
        made.append(el("td", str(count or ""), class_=f"{'c some' * bool(count)} {edge}".strip()))
    return made


def matrix(hunted: Hunted, things: Sequence[Thing]) -> ET.Element:
    columns = columns_of(hunted)
    bodies = (_body(each, columns) for each in things)
    inner = el("table", heads(columns, ("fault", "result"), ("by",)), *bodies, class_="matrix", id_="matrix")
    says = el("p", *_legend())
    return section("Steps by fault", says, wide("Steps by fault", inner, "wide high"), id_="faults")


def _legend() -> Iterator[str | ET.Element]:
    for mark, words in (
        (_FIRST, "noticed first"),
        (_WRONG, "noticed first, and blamed wrongly"),
        (_ALSO, "noticed too"),
    ):
        yield el("span", mark.sign, class_=mark.class_, aria_hidden="true")
        yield f" {words}; "
    yield "a row without a mark escaped, or was argued for."


def _body(thing: Thing, columns: Sequence[Column]) -> ET.Element:
    missed, edges = thing.count(*OPEN), edges_of(columns)
    words = f" {counted(len(thing.results), 'fault')}" + (f", {missed} not caught" if missed else "")
    title = el("th", el("b", thing.name), words, id=thing.id, scope="rowgroup", colspan=len(columns) + 3)
    return el("tbody", el("tr", title, class_="thing"), *(_row(each, edges) for each in thing.results))


def _row(result: Result, edges: Mapping[str, str]) -> ET.Element:
    fault, catches = result.fault, noticed(result)
    small = el("small", f" {fault.weight}, {fault.family}")
    made = el(
        "tr",
        el("th", split(result)[1], small, scope="row", class_="name", title=fault.says),
        el("td", el("span", result.outcome, class_="word")),
        data_result=result.outcome,
        class_="open" if result.outcome in OPEN else "",
    )
    marks = _marks(result, catches)
    made.extend(_cell(marks.get(node), edge) for node, edge in edges.items())
    made.append(el("td", _by(result, catches), class_="by"))
    return made


def _marks(result: Result, catches: Sequence[Catch]) -> dict[str, tuple[_Mark, list[str]]]:
    """By step: its mark, and the limits in it."""
    found: dict[str, tuple[_Mark, list[str]]] = {}
    decided = _WRONG if result.outcome == "blamed wrongly" else _FIRST
    for at, catch in enumerate(catches):
        found.setdefault(catch.node, (_ALSO if at else decided, []))[1].append(told_by(catch))
    return found


def _cell(mark: tuple[_Mark, list[str]] | None, edge: str) -> ET.Element:
    if mark is None:
        return el("td", class_=edge)
    (sign, class_), limits = mark
    limit = ", ".join(limits)
    parts = el("span", sign, aria_hidden="true"), el("span", limit, class_="unseen")
    return el("td", *parts, class_=f"c {class_} {edge}".strip(), title=limit)


def _by(result: Result, catches: Sequence[Catch]) -> str:
    """'7 value: 7 % is below 80 %; also 9 value': what noticed first, with what it said, and what did too."""
    if not catches or result.outcome != "caught":
        return "" if result.outcome == "escaped" else sentence(result)
    by, *others = catches
    where = " ".join(each for each in (by.node, by.reading) if each) or "the run"
    also = ", ".join(f"{each.node} {told_by(each)}" for each in others)
    return f"{where}: {by.message}" + (f"; also {also}" if also else "")
