"""Candidates put into the text of a plan, and which of them a step or a limit of the result belongs to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from benchrig.errors import PlanError
from benchrig.escapes.proposals.candidate import Candidate, Seen
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.editing import Edit, Holding, Inserting, Path_, Setting, Unfit, edited
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.plan.writing import StepText

_PROPOSED = "proposed: "


@dataclass(frozen=True)
class Taken:
    """The plan with candidates. Those are counted as they were handed over."""

    text: str
    plan: Plan
    # of each candidate the lines of its steps
    lines: Mapping[int, tuple[int, int]]
    # of each limit on a step that was there, by the id of the step now and the reading
    limits: Mapping[tuple[str, str], int]
    old_ids: Mapping[str, str] = field(default_factory=dict)

    def owner(self, node: str, reading: str) -> int | None:
        """The candidate that a step, or a limit of it, belongs to."""
        step = self._steps.get(node)
        return None if step is None else self._of_step(step, reading)

    @property
    def _steps(self) -> dict[str, StepPlan]:
        return {step.id: step for step in self.plan.steps}

    def _of_step(self, step: StepPlan, reading: str) -> int | None:
        if step.place.source.name == str(self.plan.path):
            for number, (first, last) in self.lines.items():
                if first <= step.place.line <= last:
                    return number
        return self.limits.get((step.id, reading))

    def steps_of(self, number: int) -> list[StepPlan]:
        """The steps that a candidate has brought, those within others not."""
        return [step for step in self.plan.nodes if self._of_step(step, "") == number and number in self.lines]


def taken(ground: Ground, candidates: Sequence[Candidate]) -> Taken:
    """Unfit where the text cannot be changed so, PlanError where the plan would be wrong."""
    edits, steps, limits = _edits(ground, candidates)
    made = edited(ground.plan.path, ground.text, edits)
    plan = ground.loaded(made.text)
    lines = {number: made.lines[at] for at, number in steps.items()}
    inserted = [*lines.values()]
    kept = [step for step in plan.steps if not _is_in(step, inserted, str(plan.path))]
    assert len(kept) == len(ground.plan.steps), "the steps of the plan are all there"
    now = {old.id: step.id for old, step in zip(ground.plan.steps, kept, strict=True)}
    held = {(now[step], reading): number for (step, reading), number in limits.items()}
    return Taken(made.text, plan, lines, held, {new: old for old, new in now.items()})


def _is_in(step: StepPlan, lines: Sequence[tuple[int, int]], name: str) -> bool:
    return step.place.source.name == name and any(first <= step.place.line <= last for first, last in lines)


def _edits(
    ground: Ground, candidates: Sequence[Candidate]
) -> tuple[list[Edit], dict[int, int], dict[tuple[str, str], int]]:
    """The edits, those of steps with the number of their candidate, and the limits with the number of theirs."""
    edits, steps = list[Edit](), dict[int, int]()
    keys = dict[tuple[Path_, str], list[Any]]()
    held, limits = dict[Path_, dict[str, Any]](), dict[tuple[str, str], int]()
    reasons = dict[Path_, dict[str, str]]()
    for number, candidate in enumerate(candidates):
        for each in candidate.limits:
            for reading, limit in each.limits.items():
                if limits.setdefault((each.step, reading), number) == number:
                    held.setdefault(each.at, {})[reading] = limit
                    reasons.setdefault(each.at, {})[reading] = _PROPOSED + candidate.why
        for key in candidate.keys:
            if key.step:
                limits.setdefault((key.step, key.reading), number)
            keys.setdefault((key.at, key.key), []).append(key.value)
        if candidate.steps:
            after = ground.begin if candidate.early else ground.end
            if after is None:
                raise Unfit(f"{ground.plan.path.name} has no step after which the link is up, in its own list")
            steps[len(edits)] = number
            edits.append(Inserting(after, _remarked(candidate)))
    edits += [Setting(at, key, _joined(values)) for (at, key), values in keys.items()]
    for at, each_held in held.items():
        edits += _held(ground, at, each_held, reasons[at])
    return edits, steps, limits


def _joined(values: Sequence[Any]) -> Any:
    """What several candidates have for one key: all that is in mappings."""
    if not all(isinstance(value, Mapping) for value in values):
        return values[0]
    return {key: item for value in values for key, item in value.items()}


def _remarked(candidate: Candidate) -> list[StepText]:
    """Its steps with the reason as a comment before the first one."""
    first, *rest = candidate.steps
    return [replace(first, remarks=[_PROPOSED + candidate.why, *first.remarks]), *rest]


def _held(ground: Ground, at: Path_, limits: Mapping[str, Any], reasons: Mapping[str, str]) -> list[Edit]:
    """Limits that are there are replaced, the others added."""
    written = next(step for step in ground.plan.steps if ground.written.get(step.id) == at).limit_names
    new = {reading: limit for reading, limit in limits.items() if reading not in written}
    old = [Setting((*at, "expect"), reading, limits[reading]) for reading in limits if reading in written]
    return [*old, *([Holding(at, new, reasons)] if new else [])]


def without_what_is_wrong(ground: Ground, candidates: Sequence[Candidate]) -> list[Candidate]:
    """Those with which the plan passes `check`: all at once, else each that does alone and beside the others so far."""
    if _is_right(ground, candidates):
        return [*candidates]
    if len(candidates) == 1:
        return []
    middle = len(candidates) // 2
    halves = [without_what_is_wrong(ground, half) for half in (candidates[:middle], candidates[middle:])]
    both = [*halves[0], *halves[1]]
    if _is_right(ground, both):
        return both
    right = halves[0]
    for candidate in halves[1]:
        right = [*right, candidate] if _is_right(ground, [*right, candidate]) else right
    return right


def _is_right(ground: Ground, candidates: Sequence[Candidate]) -> bool:
    try:
        taken(ground, candidates)
    except (Unfit, PlanError):
        return False
    return True


def filled(candidate: Candidate, limits: Mapping[tuple[int, str], Any]) -> Candidate:
    """With limits in place of those that the runs were to tell: of its steps by number, and reading. What they did not
    tell has none."""
    numbers = {id(step): number for number, step in enumerate(candidate.all_steps)}
    return replace(candidate, steps=[_filled(step, numbers, limits) for step in candidate.steps])


def _filled(step: StepText, numbers: Mapping[int, int], limits: Mapping[tuple[int, str], Any]) -> StepText:
    number = numbers[id(step)]
    told = {
        name: limits.get((number, name)) if isinstance(limit, Seen) else limit for name, limit in step.expect.items()
    }
    return replace(
        step,
        expect={name: limit for name, limit in told.items() if limit is not None},
        parts={key: [_filled(each, numbers, limits) for each in part] for key, part in step.parts.items()},
    )


def ordered(taken_: Taken, number: int) -> list[StepPlan]:
    """The steps of a candidate in the order of `all_steps`."""
    return [*every_step(taken_.steps_of(number))]
