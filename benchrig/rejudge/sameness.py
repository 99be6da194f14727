"""Whether a run is judged again by what it was judged by."""

from __future__ import annotations

from pathlib import PurePath
from typing import NamedTuple

from benchrig.plan.model import Plan
from benchrig.record.events import PlannedLimits, RunStarted


class Sameness(NamedTuple):
    """What of plan and limits is that of the run: all of it, or the plan alone. `limits_file` is the set that the run had."""

    all: bool
    plan: bool
    limits_file: str = ""
    has_set: bool = False  # whether the limits of a set stand in for those of the plan now

    @classmethod
    def of(cls, run: RunStarted, plan: Plan) -> Sameness:
        is_plan = plan.hash == run.plan_hash
        is_set = _sha(plan.limit_set) == _sha(run.limit_set)
        file = "" if run.limit_set is None else PurePath(run.limit_set.file).name
        return cls(is_plan and is_set, is_plan, file, plan.limit_set is not None)


def _sha(limits: PlannedLimits | None) -> str:
    return "" if limits is None else limits.sha256


OTHER = Sameness(all=False, plan=False)
