"""One record judged again, by a plan."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from msgspec.structs import replace as with_fields

from benchrig.plan.model import Plan
from benchrig.plan.tree import every_step
from benchrig.record.events import Closed, RunEnded
from benchrig.record.model import Record
from benchrig.rejudge import facts
from benchrig.rejudge.inner import composite
from benchrig.rejudge.leaf import OF_THE_PLAN, leaf
from benchrig.rejudge.matching import Matched
from benchrig.rejudge.sameness import Sameness
from benchrig.rejudge.walk import Again, Begun, Done, Unknown
from benchrig.run.outcome import Outcome
from benchrig.values.judging import shown


@dataclass(frozen=True)
class Rejudged:
    """`ended` is None where nobody can say how the run would have ended."""

    record: Record
    ended: RunEnded | None
    done: list[Done]
    unknown: list[Unknown]
    gone: list[str]
    as_run: bool

    @property
    def altered(self) -> list[str]:
        """What is on record and is not what plan, limits and readings of the run come to."""
        return [*_differences(self)] if self.as_run else []


def rejudge(record: Record, plan: Plan) -> Rejudged:
    """By the plan, with the values of the run."""
    same, matched = Sameness.of(record.run, plan), Matched.of(record, plan)
    outcome = Outcome(least=sum(len(step.limit_names) for step in every_step(matched.nodes)))
    again = Again(plan, matched, same, _execute, dict(plan.values), outcome)
    again.through()
    gone = [node.name for node in matched.gone]
    return Rejudged(record, _ended(again, record), [*again.done.values()], again.unknown, gone, same.all)


def _execute(again: Again, begun: Begun) -> Closed | None:
    return composite(again, begun) if begun.plan.parts else leaf(again, begun)


def _ended(again: Again, record: Record) -> RunEnded | None:
    """The verdict; None for a run that was cut off, and where nobody can say it."""
    before = record.ended
    if before is None:
        return None
    if (outside := facts.outside(record)) is not None:
        error, root = outside
        if facts.is_of_the_plan(error) and not again.same.all:
            again.not_known(OF_THE_PLAN)
            return None
        if error.cause == "internal":
            again.outcome.broken(error)  # type: ignore[arg-type]
        else:
            again.outcome.fatal(error, root if root is None else again.matched.where(root))
    if not again.same.plan and again.plan.deadline is not None and before.at > again.plan.deadline:
        again.not_known("the run took longer than the time that the plan has")
        return None
    if again.unknown and not again.is_decided:
        return None
    ended = again.outcome.ended(before.at)
    return with_fields(ended, advice=before.advice) if ended.message == before.message else ended


# --- what was altered


def _differences(again: Rejudged) -> Iterator[str]:
    for done in again.done:
        yield from _of_execution(done)
    before, after = again.record.ended, again.ended
    if before is not None and after is not None and before != after:
        yield f"the run: {_named(before, after)}"


def _of_execution(done: Done) -> Iterator[str]:
    step = f"{done.where.label} {done.plan.called}"
    for held in done.held:
        if held.misread:
            value = shown(held.reading.value, held.reading.unit)
            yield f"{step}, {held.reading.name}: the record says {value}, its bytes {held.reading.raw} are {held.misread}"
        if not held.unknown and held.before != held.after:
            yield f"{step}, {held.reading.name}: {_named(held.before, held.after)}"
    before = done.recorded.ended if done.recorded else None
    if before is not None and done.event is not None and before != done.event:
        yield f"{step}: {_named(before, done.event)}"


def _named(before: Any, after: Any) -> str:
    """The first field that differs."""
    if before is None or after is None:
        return "a judgement that the run " + ("has not made" if before is None else "cannot have made")
    for name in before.__struct_fields__:
        said, found = getattr(before, name), getattr(after, name)
        if said != found:
            return f"the record says {name} {said!r}, its readings come to {found!r}"
    return ""
