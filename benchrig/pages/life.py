"""The runs of one unit: what it was called, what became of it, run by run."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from benchrig.history.moments import moment_text
from benchrig.history.questions.life import Life, LifeRun
from benchrig.history.questions.runs import RunRow
from benchrig.html.elements import Child, el
from benchrig.html.parts import facts, notice, row, section, table
from benchrig.pages.links import Links
from benchrig.source.problem import counted

MOST = 500


def names(told: Life) -> ET.Element:
    runs = [each.run for each in told.runs]
    last = runs[-1]
    pairs: list[tuple[str, Child]] = [
        ("last verdict", el("strong", _verdict(last), class_="" if last.passed else "bad")),
        ("serial number, read", ", ".join(told.serials)),
        ("serial number, given", ", ".join(told.given_serials)),
        ("address", ", ".join(told.addresses)),
        ("firmware", ", ".join(told.firmware)),
        ("station", ", ".join(told.stations)),
        ("runs", f"{len(runs)}, {sum(each.passed for each in runs)} passed"),
        ("first run", f"{moment_text(runs[0].started)} UTC"),
        ("last run", f"{moment_text(last.started)} UTC"),
    ]
    return facts(pairs)


def disagreements(told: Life) -> Iterator[ET.Element]:
    """A wrong label is found under both names, and nobody may take one unit for the other."""
    if found := told.disagreements:
        pairs = dict.fromkeys(f"{each.serial} was given as {each.given_serial}" for each in found)
        yield notice("LABEL AND UNIT DISAGREE", f"in {counted(len(found), 'run')}: {'; '.join([*pairs][:5])}")


def life(told: Life, links: Links) -> ET.Element:
    heads = ("started, UTC", "plan", "verdict", "cause", "step", "reading", "what it says", "station", "firmware", "limits",
             "found by", "run")  # fmt: skip
    inner: list[Child] = [table("Runs", heads, (_run(each, links) for each in told.runs[-MOST:]), class_="stack")]
    if len(told.runs) > MOST:
        inner.insert(0, el("p", f"{counted(len(told.runs) - MOST, 'earlier run')}: not shown.", class_="dim"))
    return section("Runs", *inner, id_="runs")


def _run(each: LifeRun, links: Links) -> ET.Element:
    run = each.run
    return row(
        moment_text(run.started), run.plan, _verdict(run), run.cause, run.step, run.reading, run.message, run.place,
        run.firmware, run.limit_set or "of the plan", _found(each), links.run(run.run_id[:8], run.folder),
        class_="" if run.passed else "open",
    )  # fmt: skip


def _found(each: LifeRun) -> Child:
    """Beside what found the run, what else it was called where that is another unit's name."""
    if not each.seen.disagrees:
        return each.found_by
    return el("span", f"{each.found_by}; read {each.seen.serial}, given {each.seen.given_serial}", class_="bad")


def _verdict(run: RunRow) -> str:
    marks = (
        [f" {run.at_line.upper()}"] * bool(run.at_line)
        + [" PARTIAL"] * bool(run.left_out)
        + [f" gauge study {run.study}"] * bool(run.study)
    )
    return f"{run.verdict}{''.join(marks)}"
