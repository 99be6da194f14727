"""Yield: how many units passed at their first test, and how many in the end, with what they failed of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime

import msgspec
from sqlalchemy import Connection

from benchrig.errors import UsageError
from benchrig.figures.failing import Failing, Retested, failing, retested
from benchrig.figures.grouping import Group, groups_of
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters, check_words, condition
from benchrig.history.questions.identity import units_of, unknown_unit
from benchrig.history.questions.runs import RunRow, rows_of
from benchrig.history.tables import runs
from benchrig.record.purposes import AGAIN
from benchrig.study.yields import Share, first_runs, first_tests, last_runs, passed_of, share_of

_AT_ONCE = 1000


class Apart(msgspec.Struct, frozen=True):
    """Runs that count neither as passed nor as failed, and why."""

    why: str
    runs: int


class Again(msgspec.Struct, frozen=True):
    """Runs of a line that were no first test: retests, or runs of repaired units."""

    purpose: str
    runs: int
    passed: int


class Earlier(msgspec.Struct, frozen=True):
    """Units that were tested before the first run that is counted here, and those of them that failed then: their first pass
    is not here. `first_pass` is that of the others."""

    units: int
    failed: int
    first_pass: Share


class YieldFigure(msgspec.Struct, frozen=True):
    """Of the runs of one plan, or of several where that was asked for."""

    plans: list[str]
    filters: str  # in words; '' for all runs
    simulated: bool
    runs: int  # that count
    units: int
    first_pass: Share
    final: Share
    since: datetime | None = None  # the first of the runs that count, and the last
    until: datetime | None = None
    earlier: Earlier | None = None
    failures: list[Failing] = []
    retested: list[Retested] = []
    apart: list[Apart] = []
    groups: dict[str, list[Group]] = {}
    # where one of these is several, the yield is of units that were tested in several ways
    revisions: list[str] = []  # of the plan
    limit_sets: list[str] = []
    versions: int = 1  # of the text of the plan
    unknown: int = 0  # failures of a unit that told nothing of itself: each counts as another unit
    by_address: int = 0  # runs that had only an address, which is that of one unit
    lacking: int = 0  # passes in which a limit was not judged, as the plan or the command allowed
    again: list[Again] = []
    without_first: int = (
        0  # units that were tested again in these runs, whose first test is not among them: in no first pass
    )


def yields_of(
    history: History, filters: Filters, by: Sequence[str] = (), *, together: bool = False
) -> list[YieldFigure]:
    """One figure a plan; with `together` one of all plans. UsageError where no run fits."""
    with history.reading() as connection:
        check_words(connection, filters)
        found = rows_of(connection, condition(filters))
        if not found:
            raise nothing_fits(filters)
        plans = [*dict.fromkeys(sorted(run.plan for run in found))]
        parts = [plans] if together else [[plan] for plan in plans]
        return [_figure(connection, _of(found, part), part, filters, by) for part in parts]


def nothing_fits(filters: Filters) -> UsageError:
    kind = "simulated run" if filters.simulated else "run on a real radio"
    if filters.described:
        return UsageError(f"the history has no {kind} with all of: {filters.described}", advice="drop a filter")
    advice = "" if filters.simulated else "count the simulated runs, and these alone, with --simulated"
    return UsageError(f"the history has no {kind}", advice=advice)


def _of(found: Sequence[RunRow], plans: Sequence[str]) -> list[RunRow]:
    return [run for run in found if run.plan in plans]


def _figure(
    connection: Connection, found: Sequence[RunRow], plans: list[str], filters: Filters, by: Sequence[str]
) -> YieldFigure:
    counting = [run for run in found if not run.apart]
    units, by_address = units_of(connection, counting)
    passed = [run.passed for run in counting]
    first, last = first_tests(units, *_said_firsts(connection, counting)), last_runs(units)
    return YieldFigure(
        plans, filters.described, filters.simulated, len(counting), len(last),
        share_of(passed_of(passed, first), len(first)), share_of(passed_of(passed, last), len(last)),
        counting[0].started if counting else None, counting[-1].started if counting else None,
        _earlier(connection, counting, units, first, plans, filters),
        failing(counting, units), retested(counting, units), _apart(found),
        {each: groups_of(counting, first, last, each) for each in by},
        sorted({run.revision for run in counting}), sorted({run.limit_set for run in counting}),
        len({run.plan_hash for run in counting}),
        sum(name == unknown_unit(run) for name, run in zip(units, counting, strict=True)), by_address,
        sum(run.passed and run.not_judged > 0 for run in counting), _again(counting), len(last) - len(first),
    )  # fmt: skip


def _said_firsts(connection: Connection, counting: Sequence[RunRow]) -> tuple[list[str], dict[str, bool]]:
    """Of each run the id of the first run of its unit, as the line says it, "" of a first one; which of these count, as far as
    the history has them."""
    said = [run.first_run if run.purpose in AGAIN else "" for run in counting]
    counts = {run.run_id: True for run in counting}
    asked = sorted({each for each in said if each} - counts.keys())
    for at in range(0, len(asked), _AT_ONCE):
        found = rows_of(connection, runs.c.run_id.in_(asked[at : at + _AT_ONCE]))
        counts |= {run.run_id: not run.apart for run in found}
    return said, counts


def _again(counting: Sequence[RunRow]) -> list[Again]:
    found = {purpose: [run.passed for run in counting if run.purpose == purpose] for purpose in AGAIN}
    return [Again(purpose, len(passed), sum(passed)) for purpose, passed in found.items() if passed]


def _apart(found: Sequence[RunRow]) -> list[Apart]:
    counted = Counter(run.apart for run in found if run.apart)
    return [Apart(why, count) for why, count in sorted(counted.items(), key=lambda each: (-each[1], each[0]))]


def _earlier(
    connection: Connection, counting: Sequence[RunRow], units: Sequence[str], first: Sequence[int], plans: list[str],
    filters: Filters,
) -> Earlier | None:  # fmt: skip
    """Among all runs of the plan, whatever the other filters say."""
    if not filters.narrows_plan or not counting:
        return None
    every = [
        run
        for run in rows_of(connection, condition(Filters(plan=(*plans,), simulated=filters.simulated)))
        if not run.apart
    ]
    names, _ = units_of(connection, every)
    of_all = {names[index]: every[index] for index in first_runs(names)}
    before = [index for index in first if of_all[units[index]].run_id != counting[index].run_id]
    failed = sum(not of_all[units[index]].passed for index in before)
    new = [*set(first).difference(before)]
    share = share_of(sum(counting[index].passed for index in new), len(new))
    return Earlier(len(before), failed, share) if before else None
