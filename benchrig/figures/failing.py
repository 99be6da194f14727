"""What units failed of, and which passed later with the same firmware, plan and limits."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from benchrig.history.questions.runs import RunRow
from benchrig.study.yields import passed_again


class Failing(msgspec.Struct, frozen=True):
    """What decided runs that failed: a reading of a step, or the step itself. The last such run is the example."""

    step: str
    reading: str
    cause: str
    runs: int
    units: int
    run_id: str
    folder: str
    message: str


class Retested(msgspec.Struct, frozen=True):
    """A unit that passed right after it had failed, with the same firmware, by the same plan and limits."""

    unit: str
    firmware: str
    step: str
    reading: str
    failed_run: str
    failed_folder: str
    passed_run: str
    passed_folder: str
    purpose: str = ""  # of the run that passed, where it was at a line: a retest, or of a repaired unit


def failing(runs: Sequence[RunRow], units: Sequence[str]) -> list[Failing]:
    """The most frequent first."""
    kinds: dict[tuple[str, str, str], list[int]] = {}
    for index, run in enumerate(runs):
        if not run.passed:
            kinds.setdefault((run.step, run.reading, run.cause), []).append(index)
    found = [
        Failing(*kind, len(which), len({units[index] for index in which}), last.run_id, last.folder, last.message)
        for kind, which in kinds.items()
        for last in [runs[which[-1]]]
    ]
    return sorted(found, key=lambda each: (-each.runs, each.step, each.reading, each.cause))


def retested(runs: Sequence[RunRow], units: Sequence[str]) -> list[Retested]:
    """A firmware that is not known may be another one: nothing is said then."""
    states = [(run.firmware, run.plan_hash, run.limit_set) if run.firmware else None for run in runs]
    return [
        Retested(
            units[before], runs[before].firmware, runs[before].step, runs[before].reading, runs[before].run_id,
            runs[before].folder, runs[after].run_id, runs[after].folder, runs[after].purpose,
        )
        for before, after in passed_again(units, [run.passed for run in runs], states)
    ]  # fmt: skip
