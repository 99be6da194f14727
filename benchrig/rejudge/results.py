"""What records come to when they are judged again, as data: each run, and the yield before and after."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import msgspec

from benchrig.errors import speaks_of_unit
from benchrig.record.events import DeviceSeen, PlannedLimits, RunEnded, RunStarted
from benchrig.record.model import Record
from benchrig.record.purposes import AGAIN, OF_THE_STATION
from benchrig.rejudge.record import Rejudged
from benchrig.rejudge.walk import Done
from benchrig.run.outcome import Exit
from benchrig.study.yields import Share, first_tests, last_runs, share_of


class Came(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a run comes to."""

    verdict: str
    exit_code: int
    cause: str = ""
    message: str = ""

    @property
    def counts(self) -> bool:
        """Whether it says something of the unit: all was judged, and the cause is its own."""
        return self.exit_code != Exit.NOT_JUDGED and speaks_of_unit(self.verdict, self.cause)


class Change(msgspec.Struct, frozen=True, omit_defaults=True):
    """A step or a reading with another verdict than in the run; without a verdict nobody can say."""

    step: str
    name: str
    before: str
    after: str
    reading: str = ""
    value: Any = None
    unit: str = ""
    was: str = ""
    says: str = ""


class Open(msgspec.Struct, frozen=True, omit_defaults=True):
    """What nobody can say, and why."""

    step: str
    name: str
    why: str
    reading: str = ""


class Run(msgspec.Struct, frozen=True, omit_defaults=True):
    """One run, judged again. `after` is missing where nobody can say how it would have ended."""

    run_id: str
    folder: str
    started: str
    unit: str
    before: Came
    after: Came | None = None
    apart: str = ""  # why it is not part of the yield
    changes: list[Change] = []
    unknown: list[Open] = []
    altered: list[str] = []
    not_in_plan: list[str] = []
    first_run: str = ""  # of a retest, or a repaired unit, at a line: the id of the first run of the unit

    @property
    def changed(self) -> bool:
        return self.after is not None and self.after.verdict != self.before.verdict


class Yield(msgspec.Struct, frozen=True):
    """Of the units: those that passed at their first run and at their last. `unknown` are units of which nobody can say it:
    they are in neither number."""

    first_pass: Share
    first_unknown: int
    final: Share
    final_unknown: int


class NotRead(msgspec.Struct, frozen=True):
    """A folder whose run is not judged again, and why."""

    folder: str
    why: str


class Results(msgspec.Struct, frozen=True, omit_defaults=True):
    """All of it. `as_run` counts the runs that this very plan with these limits has judged before."""

    plan: str
    plan_file: str
    plan_hash: str
    revision: str
    simulated: bool
    runs: list[Run]
    before: Yield
    after: Yield
    not_read: list[NotRead]
    as_run: int
    limit_set: PlannedLimits | None = None


def run_of(again: Rejudged, folder: str) -> Run:
    head, before = again.record.run, again.record.ended
    assert before is not None
    return Run(
        head.run_id,
        folder,
        head.started,
        _unit(again.record),
        _came(before),
        None if again.ended is None else _came(again.ended),
        _apart(head),
        [change for done in again.done for change in _changes(done)],
        [Open(each.where.label, each.step, each.why, each.reading) for each in again.unknown],
        again.altered,
        again.gone,
        head.line.first if head.line and head.line.purpose in AGAIN else "",
    )


def _apart(head: RunStarted) -> str:
    if head.line is not None and head.line.purpose in OF_THE_STATION:
        return OF_THE_STATION[head.line.purpose]
    return "gauge study" if head.study else "partial" if head.left_out else ""


def _unit(record: Record) -> str:
    """Its serial number, read or given, else its address; a run without any is one of a unit of its own."""
    seen = record.unit or DeviceSeen(0.0)
    return seen.serial or record.given_serial.strip() or seen.address or record.run.run_id


def _came(end: RunEnded) -> Came:
    return Came(end.verdict, end.exit_code, end.cause or "", end.message)


def _changes(done: Done) -> list[Change]:
    label, name = done.where.label, done.plan.called
    found = []
    for held in done.held:
        before, after = held.before, held.after
        if after is not None and (before is None or before.passed != after.passed):
            was, now = _word(before.passed if before else None), _word(after.passed)
            reading = held.reading
            said = (reading.name, reading.value, reading.unit, before.sentence if before else "", after.sentence)
            found.append(Change(label, name, was, now, *said))
    recorded = done.recorded.ended if done.recorded else None
    if recorded is not None and done.event is not None and recorded.came_to != done.event.came_to:
        ends = (recorded.came_to, done.event.came_to)
        found.append(Change(label, name, *ends, was=recorded.message, says=done.event.message))
    return found


def _word(passed: bool | None) -> str:
    return "not judged" if passed is None else "pass" if passed else "fail"


def yield_of(runs: Sequence[Run], came: Callable[[Run], Came | None]) -> Yield:
    """Of runs in the order of time. A unit counts by its first run, and by its last one, that says something of it; one of
    which nobody can say what it comes to may be that run."""
    counting = [run for run in runs if not run.apart and ((end := came(run)) is None or end.counts)]
    units = [run.unit for run in counting]
    counts = {run.run_id: False for run in runs} | {run.run_id: True for run in counting}
    which = first_tests(units, [run.first_run for run in counting], counts), last_runs(units)
    first, last = ([came(counting[index]) for index in each] for each in which)
    return Yield(*_share(first), *_share(last))


def _share(ends: Sequence[Came | None]) -> tuple[Share, int]:
    known = [end for end in ends if end is not None]
    return share_of(sum(end.verdict == "pass" for end in known), len(known)), len(ends) - len(known)
