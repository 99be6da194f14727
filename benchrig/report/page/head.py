"""The head of the page: the verdict, what decided it, what to do about it, who was tested with what."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from benchrig.errors import OF_THE_UNIT
from benchrig.html.elements import Child, el
from benchrig.html.parts import facts, notice, section
from benchrig.record.model import Record
from benchrig.report import at_line, explain, whole
from benchrig.text.escape import plain

# What to do where the record has no advice of its own, by the cause.
_TO_DO = {
    "limit": "Reject the unit, or repair it and test it again: a reading is outside its limit.",
    "device": "Reject the unit, or repair it and test it again: it did not answer as it should.",
    "link": "Check antenna, supply and distance of the unit, and test it again: its link was lost.",
    "station": "Mend the station and test again: nothing is known against the unit.",
    "plan": "Correct the plan and test again: nothing is known against the unit.",
    "operator": "Test again: the run was ended before its verdict.",
    "internal": "Report this record to the maintainers of benchrig, and test again.",
}
_CUT_OFF = "Test again: the record has no verdict."
_NOTHING = "Nothing: all limits held."
_TOLERATED = "Nothing: the unit passed. What failed in it is tolerated by a limit, see below."
_LACKS = "Decide whether the unit may pass without the limits that were not judged."
_NOT_ALL = "Correct the plan or the station and test again: not all that the plan asks was judged."
_SIMULATED_FAILED = "Compare the simulated unit with the plan: no real unit was tested."
_NONE_OF_A_UNIT = "Test the real unit: this verdict is about a simulated one."
_PART_ONLY = "Run the whole plan before you decide on the unit: this was a part of it."


def head(record: Record) -> ET.Element:
    words = [explain.outcome(record).upper(), *whole.marks(record)]
    title = el("h1", el("span", ", ".join(words), class_=_style(words)), " ", explain.plan_title(record))
    return el("header", title, el("p", explain.unit_title(record), class_="sub"), *_marks(record), *_decided(record),
              el("h2", "What to do"), el("p", to_do(record), class_="todo"), _facts(record))  # fmt: skip


def _style(words: list[str]) -> str:
    """Green is a pass of a real unit over the whole plan."""
    return "bad" if words[0] != "PASS" else "marked" if words[1:] else "good"


def _marks(record: Record) -> Iterator[ET.Element]:
    if record.run.simulated:
        yield notice("SIMULATED", explain.SIMULATED)
    if record.run.left_out:
        yield notice("PARTIAL", whole.left_out(record))
    if record.cut_off:
        yield notice("CUT OFF", explain.CUT_OFF)
    if undecided := [*whole.not_judged(record)]:
        yield notice("NOT JUDGED", "; ".join(undecided[:5]))


def _decided(record: Record) -> Iterator[ET.Element]:
    if reason := whole.reason(record):
        yield el("p", reason, class_="decided")


def to_do(record: Record) -> str:
    """The advice of the record where it has one, else what its cause means."""
    if record.ended is not None and record.ended.verdict == "pass":
        return _after_pass(record)
    told = at_line.to_do(record) or whole.advice(record)
    of_unit = record.cause in OF_THE_UNIT
    return told or (_SIMULATED_FAILED if record.run.simulated and of_unit else _usual(record))


def _after_pass(record: Record) -> str:
    if explain.outcome(record) != "pass":
        return whole.advice(record) or _NOT_ALL
    if record.run.simulated:
        return _NONE_OF_A_UNIT
    if of_the_station := at_line.to_do(record):
        return of_the_station
    if record.run.left_out:
        return _PART_ONLY
    if whole.marks(record):
        return _LACKS
    return _TOLERATED if next(whole.tolerated(record), "") else _NOTHING


def _usual(record: Record) -> str:
    if record.ended is None:
        return _CUT_OFF
    return _TO_DO.get(str(record.ended.cause), _TO_DO["internal"])


def _facts(record: Record) -> ET.Element:
    run, unit = record.run, record.unit
    limits = run.limit_set
    study = run.study
    pairs: list[tuple[str, Child]] = [
        ("plan file", plain(run.plan_file)),
        ("limit set", f"{plain(limits.name)} {plain(limits.version)}, {plain(limits.reason)}" if limits else ""),
        ("firmware", plain(unit.firmware) if unit else ""),
        ("hardware", plain(unit.hardware) if unit else ""),
        ("station", plain(run.station)),
        ("line", at_line.where(record)),
        ("purpose", at_line.purpose(record)),
        ("fixture", plain(str(run.fixture)) if run.fixture else ""),
        ("radio", plain(run.radio) + ("" if run.seed is None else f", seed {run.seed}")),
        ("started", plain(run.started)),
        ("took", f"{whole.duration(record):.3f} s"),
        ("result", whole.verdict_line(record)),
        ("caution", plain(run.caution)),
        ("given", "; ".join(f"{plain(name)}={plain(value)}" for name, value in run.given.items())),
        (
            "study",
            f"{plain(study.study)}, {plain(study.unit)}, {plain(study.appraiser)}, {study.repeat}" if study else "",
        ),
        ("versions", ", ".join(f"{plain(name)} {plain(value)}" for name, value in run.versions.items())),
        ("run", plain(run.run_id)),
        ("plan hash", plain(run.plan_hash)),
    ]
    return section("About this run", facts(pairs), id_="about")
