"""Steps that are left out: each of them, and each of those in them, ends once all the same."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from benchrig.plan.tree import StepPlan
from benchrig.record.events import Closed, NotJudged, Verdict, Where

# What became of a step that did not pass, in words.
ENDED: dict[Verdict, str] = {"fail": "failed", "error": "ended with an error", "skip": "was left out"}


class Reason(NamedTuple):
    """Why a step is left out: the execution that made it impossible, if any, and a sentence. `allowed` where a condition of
    the plan left it out, which is no failure."""

    root: Where | None
    message: str
    allowed: bool = False


def with_inner(plan: StepPlan, where: Where) -> Iterator[tuple[StepPlan, Where]]:
    """A step and all that is in it, each once: of a repetition the first round stands for all."""
    yield plan, where
    rounds = (*where.rounds, 1) if plan.role == "repeat" else where.rounds
    for child in plan.children:
        yield from with_inner(child, Where(child.id, rounds))


def skipped(plan: StepPlan, where: Where, why: Reason, at: float) -> list[Closed | NotJudged]:
    """The events of one step that is left out, its end first."""
    unjudged = [NotJudged(where, at, name, why.message, allowed=why.allowed) for name in plan.limit_names]
    return [Closed(where, at, 0.0, "skip", message=why.message, root=why.root, allowed=why.allowed), *unjudged]
