"""By what runs are told apart in a yield."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec

from benchrig.history.questions.runs import RunRow
from benchrig.study.yields import Share, share_of

_KEYS: dict[str, Callable[[RunRow], str]] = {
    "plan": lambda run: run.plan,
    "revision": lambda run: run.revision,
    "limits": lambda run: run.limit_set,
    "station": lambda run: run.station,
    "fixture": lambda run: run.fixture,
    "firmware": lambda run: run.firmware,
    "product": lambda run: run.product,
    "slot": lambda run: run.slot,
    "person": lambda run: run.person,
    "shift": lambda run: run.shift,
    "purpose": lambda run: run.purpose,
    "day": lambda run: run.started.date().isoformat(),
    "hour": lambda run: run.started.strftime("%Y-%m-%d %H:00"),
}


class Group(msgspec.Struct, frozen=True):
    """The counting runs with one value, '' where it is not known. A unit is in `first_pass` of the group that its first run
    is in, and in `final` of the one that its last run is in: over all groups each unit is counted once."""

    name: str
    runs: int
    first_pass: Share
    final: Share
    runs_passed: int = 0


def groups_of(runs: Sequence[RunRow], first: Sequence[int], last: Sequence[int], by: str) -> list[Group]:
    """In the order of their names: times follow one another."""
    key = _KEYS[by]
    names = [key(run) for run in runs]
    counted: dict[str, list[int]] = {name: [0, 0, 0, 0, 0, 0] for name in sorted(set(names))}
    for name, run in zip(names, runs, strict=True):
        counted[name][0] += 1
        counted[name][5] += run.passed
    for place, which in ((1, first), (3, last)):
        for index in which:
            counted[names[index]][place] += runs[index].passed
            counted[names[index]][place + 1] += 1
    return [
        Group(name, n, share_of(fp, fn), share_of(lp, ln), passed)
        for name, (n, fp, fn, lp, ln, passed) in counted.items()
    ]
