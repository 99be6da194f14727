"""What to look at, fault by fault; what no step notices; what people said is right."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from xml.etree import ElementTree as ET

from benchrig.escapes.page.things import Thing
from benchrig.escapes.results import PASSED, Argument, Coverage, Hunted, Outcome, Result, ordered
from benchrig.escapes.telling import sentence
from benchrig.html.elements import Child, el
from benchrig.html.parts import row, section, table
from benchrig.source.problem import counted

_LOUD: tuple[tuple[str, str, Outcome], ...] = (
    ("wrong", "Blamed wrongly", "blamed wrongly"),
    ("failed", "Not tried", "failed"),
)


def wrong(hunted: Hunted) -> Iterator[ET.Element]:
    """What is noticed and put on whom it is not, and what benchrig could not try."""
    for id_, title, outcome in _LOUD:
        if found := ordered(hunted.of(outcome)):
            heads = ("fault", "weight", "what is wrong", "what the plan makes of it")
            yield _open(id_, title, heads, [[each.fault.says, sentence(each)] for each in found], found)


def escaped(hunted: Hunted) -> Iterator[ET.Element]:
    if found := ordered(hunted.of(*PASSED)):
        says = [[f"{each.fault.says}{_luck(each)}"] for each in found]
        yield _open("escaped", "Escaped", ("fault", "weight", "what is wrong"), says, found)


def _luck(result: Result) -> str:
    return f" By luck: {sentence(result)}." if result.outcome == "by luck" else ""


def _open(
    id_: str, title: str, heads: Sequence[str], cells: Sequence[Sequence[str]], found: Sequence[Result]
) -> ET.Element:
    rows = (
        row(each.fault.name, each.fault.weight, *more, class_=each.fault.weight)
        for each, more in zip(found, cells, strict=True)
    )
    return section(f"{title}: {len(found)}", table(title, heads, rows, class_="list"), id_=id_)


def gaps(hunted: Hunted, things: Sequence[Thing]) -> Iterator[ET.Element]:
    """Steps that notice nothing, and what nothing is noticed of."""
    inner: list[Child] = []
    if hunted.coverage and (idle := hunted.coverage.idle):
        first = "" if hunted.whole else " before another step did"
        inner.append(el("p", f"Steps that noticed no fault of the unit{first}:"))
        inner.append(el("ul", *(el("li", f"{each.node} {each.name}") for each in idle)))
    blind = [each for each in things if each.count("escaped", "by luck") > 1 and not each.count("caught")]
    if blind:
        inner.append(el("p", "Things of which no fault is noticed:"))
        inner.append(el("ul", *(_link(each) for each in blind), class_="many"))
    if inner:
        yield section("What nothing looks at", *inner, id_="gaps")


def _link(thing: Thing) -> ET.Element:
    return el(
        "li", el("a", thing.name, href=f"#{thing.id}"), f", {counted(thing.count('escaped', 'by luck'), 'fault')}"
    )


def requirements(coverage: Coverage | None) -> Iterator[ET.Element]:
    if coverage is None or not coverage.requirements:
        return
    rows = (
        row(
            each.id,
            each.says,
            ", ".join(each.steps) or "none",
            each.caught,
            each.lacks,
            class_="open" if each.lacks else "",
        )
        for each in coverage.requirements
    )
    heads = ("requirement", "what is promised", "steps", "faults noticed by them", "what is missing")
    yield section("Requirements", table("Requirements", heads, rows, numbers=heads[3:4]), id_="requirements")


def arguments(hunted: Hunted) -> Iterator[ET.Element]:
    """Each reason once, with the faults that it is given for."""
    groups: dict[Argument, list[str]] = {}
    for each in hunted.of("argued", "left"):
        assert each.argument is not None
        groups.setdefault(each.argument, []).append(each.fault.name)
    if groups:
        rows = (
            row(why.why, why.by or "rule", why.date, why.left_to, len(names), ", ".join(names))
            for why, names in groups.items()
        )
        heads = ("reason", "by", "date", "left to", "faults", "names")
        yield section(
            "Argued, and left to other plans", table("Arguments", heads, rows, numbers=("faults",)), id_="argued"
        )


def others(hunted: Hunted) -> Iterator[ET.Element]:
    found = Counter((each.outcome, sentence(each)) for each in hunted.of("harmless", "not applicable"))
    lines = [f"{outcome}: {why} ({counted(count, 'fault')})" for (outcome, why), count in found.items()]
    lines += [f"stale: {each}" for each in hunted.stale] + [f"note: {each}" for each in hunted.notes]
    if lines:
        yield section("Notes", el("ul", *(el("li", each) for each in lines)), id_="notes")
