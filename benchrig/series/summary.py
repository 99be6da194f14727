"""The runs of a call as Markdown, short enough for a merge request. Texts of devices are escaped: they make no markup, no
link and no mention there."""

from __future__ import annotations

import re
from collections.abc import Iterator

from benchrig.report.explain import SIMULATED
from benchrig.series.begins import SUMMARY_BEGINS
from benchrig.series.tally import Tally, Total
from benchrig.series.units import different, titles
from benchrig.text.escape import MORE, plain

# What is told of each, and of a sentence.
PLANS = 50
FAILURES = 30
_SENTENCE, _NAME = 300, 120
_MARKUP = re.compile(r"([\\`*_{}\[\]<>#|~&@$]|:(?=//)|(?<=www)\.)")
# Between an @ or a # and what follows: neither a mention nor a reference.
_APART = "&#8203;"


def summary_text(total: Total) -> str:
    """The whole document."""
    return "\n".join(
        [f"{SUMMARY_BEGINS.decode()}{total.head}", "", *_facts(total), "", *_table(total), *_failures(total), ""]
    )


def markdown(text: str, limit: int = _SENTENCE) -> str:
    """Text as it is, on one line."""
    return re.sub(r"\\([@#])", rf"\\\1{_APART}", _MARKUP.sub(r"\\\1", plain(text, limit)))


def _code(text: str) -> str:
    """A path or a word as it is, also in a table."""
    return f"`{plain(text, _NAME).replace('`', chr(39)).replace('|', '!')}`"


def _facts(total: Total) -> Iterator[str]:
    first = total.runs[0]
    yield f"{markdown(total.sentence)}."
    yield ""
    yield f"- radio: {_code(first.radio)}, station {markdown(first.station, _NAME)}"
    if first.simulated:
        yield f"- **SIMULATED**: {SIMULATED}"
    units = different(run.seen for run in total.runs)
    known = titles((run.seen, run.unit) for run in total.runs if run.unit)
    if units:
        yield f"- **the units differ**: {_listed(units)}"
    elif known:
        yield f"- unit: {_listed(known)}"
    if firmwares := list(dict.fromkeys(run.firmware for run in total.runs if run.firmware)):
        yield f"- firmware: {_listed(firmwares)}"


def _listed(texts: list[str]) -> str:
    shown = "; ".join(markdown(text, _NAME) for text in texts[:5])
    return shown + (f"; {len(texts) - 5} more" if len(texts) > 5 else "")


def _table(total: Total) -> Iterator[str]:
    """The plans that did not pass go before, where there are more than are shown."""
    tallies = total.tallies
    if len(tallies) > PLANS:
        tallies = sorted(tallies, key=lambda each: each.verdict == "pass")
    names = ["plan", "verdict", *["passed"] * total.is_repeated, "cause", "time", "record"]
    yield f"| {' | '.join(names)} |"
    yield f"|{'---|' * len(names)}"
    for tally in tallies[:PLANS]:
        yield f"| {' | '.join(_cells(tally, repeated=total.is_repeated))} |"
    if (more := len(tallies) - PLANS) > 0:
        yield from ["", f"{more} more plans are in the results folder."]


def _cells(tally: Tally, *, repeated: bool) -> list[str]:
    run = tally.decisive
    record = _code(str(run.folder)) if run.folder else ""
    return [
        _code(str(tally.path)),
        tally.verdict if tally.verdict == "pass" else f"**{tally.verdict}**",
        *[tally.times] * repeated,
        run.cause,
        f"{tally.seconds:.1f} s",
        record,
    ]


def _failures(total: Total) -> Iterator[str]:
    lines = [
        f"- {_code(str(run.path))}{_which(run.repetition, total)}, {markdown(each.step, _NAME)}: "
        f"{markdown(each.sentence)}{f' ({each.cause})' if each.cause else ''}{_record(run.folder)}"
        for run in total.runs
        for each in run.failures
    ]
    if lines:
        yield from ["", "### What did not pass", "", *lines[:FAILURES]]
    if len(lines) > FAILURES:
        yield f"- {MORE} {len(lines) - FAILURES} more are in the records"


def _which(repetition: int, total: Total) -> str:
    return f" (repetition {repetition})" if total.is_repeated else ""


def _record(folder: object) -> str:
    return f", {_code(f'{folder}/record.jsonl')}" if folder else ""
