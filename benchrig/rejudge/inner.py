"""One step with steps in it, judged again."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping, Sequence

from msgspec.structs import replace

from benchrig.errors import BenchrigError, InnerError, LeftOut
from benchrig.plan.tree import StepPlan, every_step
from benchrig.record.events import Closed, Reading, RoundsLeft, Where
from benchrig.record.model import Execution
from benchrig.rejudge import facts
from benchrig.rejudge.leaf import Taken, conclude
from benchrig.rejudge.limits import Held
from benchrig.rejudge.walk import Again, Begun
from benchrig.run.inside import came_of
from benchrig.run.leaving import Reason
from benchrig.run.scope import known_inside
from benchrig.steps.composite import JUDGES_FAILURES, Came, Composite, telling_of
from benchrig.steps.group import Group
from benchrig.steps.repeat import SHARE, Repeat, Tally, Times
from benchrig.steps.sequential import DECISION, Trials

_SHAKY = "a step in it ends in another way now, or nobody can say how, and what comes after it was not taken"
_COUNTS = ("passed", "failed", SHARE, DECISION)


def composite(again: Again, begun: Begun) -> Closed | None:
    """Its end; None where nobody can say it."""
    plan = begun.plan
    whole = _Whole(again, plan, begun.where, begun.recorded, begun.tolerated or begun.without.tolerates)
    taken = whole.taken(begun.without)
    taken.save()
    return conclude(again, begun, taken)


class _Whole:
    """What is in it, carried out again, and what the whole comes to by that."""

    def __init__(self, again: Again, plan: StepPlan, where: Where, recorded: Execution, tolerated: bool) -> None:
        self._again, self._plan, self._where, self._recorded = again, plan, where, recorded
        self._tolerated = tolerated
        # by part, or by round, the ends of the steps in it
        self._parts: dict[str, list[Closed | None]] = {}
        self._rounds: dict[int, list[Closed | None]] = {}
        self._as_recorded = True
        # makes a sentence about failures tell the worst of them
        self._telling: Callable[[str], str] | None = None
        if plan.role == "repeat":
            self._carry_out_rounds()
        else:
            self._carry_out_parts()

    # --- what is in it

    def _carry_out_parts(self) -> None:
        refused: Reason | None = None
        for part in self._plan.parts:
            ends = [self._step(step, Where(step.id, self._where.rounds), refused) for step in part.steps]
            self._parts[part.name] = ends
            if part.name == "first" and (error := self._came(ends).error if None not in ends else None) is not None:
                refused = Reason(error.root, error.reason)

    def _step(self, step: StepPlan, where: Where, refused: Reason | None) -> Closed | None:
        recorded = self._again.matched.execution(where)
        if refused is not None and recorded is not None and recorded.opened is not None:
            self._as_recorded = False
            return self._again.leave_out(step, where, refused, tolerated=self._tolerated)
        end = self._again.carry_out(step, where, tolerated=self._tolerated)
        self._as_recorded = self._as_recorded and self._again.done[where].is_as_recorded
        return end

    def _carry_out_rounds(self) -> None:
        for number in sorted({each.where.rounds[-1] for each in self._recorded.children}):
            rounds = (*self._where.rounds, number)
            with self._known(number):
                self._rounds[number] = [self._step(step, Where(step.id, rounds), None) for step in self._plan.children]
        for tally in self._recorded.left.steps if self._recorded.left else ():
            for fates in tally.limits.values():
                self._again.outcome.planned += fates.passed + fates.failed + fates.not_judged
                self._again.outcome.count(fates)

    def _known(self, number: int) -> contextlib.AbstractContextManager[None]:
        """What references stand for in a round alone."""
        times = getattr(self._plan.step or self._plan.outline, "repeat", None)
        of_round = times.of_round(number) if isinstance(times, Times) else {}
        return known_inside(self._again.values, of_round, self._again.plan.defined)

    @property
    def _lost(self) -> str:
        """Why nobody can say how the rounds end that are not on record one by one."""
        left = self._recorded.left
        if left is None or not any(tally.limits for tally in left.steps):
            return ""
        ids = {step.id for step in every_step(self._plan.children)}
        inside = [done for where, done in self._again.done.items() if where.node in ids]
        other = [each for done in inside for each in done.held if each.unknown or _is_other(each)]
        broken = any(fates.failed for tally in left.steps for fates in tally.limits.values())
        if not other:
            return ""
        sure = not broken and all(self._holds(each, left) for each in other)
        return (
            "" if sure else f"{left.rounds} rounds are not on record one by one, and a limit in them is another one now"
        )

    def _holds(self, held: Held, left: RoundsLeft) -> bool:
        """Whether a limit holds in these rounds too: by the least and the greatest value of them."""
        done = self._again.done[self._again.matched.where(held.reading.where.execution) or held.reading.where]
        tallies = [tally for tally in left.steps if self._again.matched.ids.get(tally.node) == done.plan.id]
        samples = [tally.readings.get(held.reading.name) for tally in tallies]
        others = sum(tally.others.get(held.reading.name, 0) for tally in tallies)
        known = [each for each in samples if each is not None]
        if held.unknown or others or len(known) != 1 or held.after is None or not _is_range(held.after.limit):
            return False
        low, high, edges = known[0].minimum, known[0].maximum, (held.after.low, held.after.high)
        inside = low is not None and high is not None and (edges[0] is None or low > edges[0])
        return inside and any(edge is not None for edge in edges) and (edges[1] is None or (high or 0.0) < edges[1])

    def _came(self, ends: Sequence[Closed | None]) -> Came:
        return came_of([end for end in ends if end is not None], over=self._again.is_over(self._plan))

    @property
    def _is_known(self) -> bool:
        return not any(None in ends for ends in (*self._parts.values(), *self._rounds.values()))

    # --- the whole

    def taken(self, plan: StepPlan) -> Taken:
        """Its own readings with their limits, and what ended it."""
        taken = Taken(self._again, plan, self._recorded)
        tally = self._tally() if isinstance(taken.model[0], Repeat) else None
        readings, error = self._recorded.readings, facts.error_of(self._recorded)
        if not self._as_recorded and self._is_known and not self._lost:
            readings, error, taken.unknown = self._changed(taken.model[0], tally, readings, error)
        elif not self._as_recorded or self._lost:
            readings = [each for each in readings if each.name not in _COUNTS]
            taken.unknown = self._lost or _SHAKY
        if tally is not None:
            seen = Trials(tally.carried_out, tally.failed)
            taken.evidence = {SHARE: tally.failures, DECISION: seen}
        taken.error = error
        held = taken.limits(broken_off=error is not None).hold(readings)
        taken.held = held if self._as_recorded else [_telling(each, self._telling) for each in held]
        return taken

    def _tally(self) -> Tally | None:
        """The rounds one by one, as the repetition counted them; None where the record does not have that."""
        left = self._recorded.left
        if not self._is_known or (left is not None and left.failed):
            return None
        tally, last = Tally(0.0), max(self._rounds, default=0)
        for number in range(1, last + 1):
            tally.begins(0.0)
            ends = self._rounds.get(number)
            tally.ended(Came(passed=1, begun=1) if ends is None else self._came(ends), 1.0)
        counted = {name: value for name, (value, _) in tally.readings.items() if name != "elapsed"}
        seen = {each.name: each.value for each in self._recorded.readings if each.name in counted}
        return tally if not self._as_recorded or all(counted[name] == value for name, value in seen.items()) else None

    def _changed(
        self, step: object, tally: Tally | None, readings: Sequence[Reading], error: BenchrigError | None
    ) -> tuple[list[Reading], BenchrigError | None, str]:
        """What it comes to where a step in it ends in another way; with a sentence where nobody can say."""
        if isinstance(step, Repeat):
            return self._of_rounds(step, tally, readings)
        came = sum((self._came(ends) for ends in self._parts.values()), Came())
        self._telling = telling_of(came.error)
        if error is not None and not isinstance(error, InnerError):
            return [*readings], error, ""  # what it does itself went wrong
        assert isinstance(step, Composite)
        if (cut := _raised(lambda: step.cut_short(came))) is not None:
            return [], cut, ""
        if not readings or (not isinstance(step, Group) and isinstance(error, InnerError)):
            return [], None, _SHAKY
        counts = {"passed": came.passed, "failed": came.failed}
        return [*_counted(readings, counts)], _raised(lambda: step.conclude(came)), ""

    def _of_rounds(
        self, step: Repeat, tally: Tally | None, readings: Sequence[Reading]
    ) -> tuple[list[Reading], BenchrigError | None, str]:
        self._telling = tally.telling if tally is not None else None
        if tally is None or step.stop_when or step.sequential is not None or (not readings and not tally.failed):
            return [], None, _SHAKY
        if self._again.is_over(self._plan):
            return [], tally.error(), ""
        if (error := step.unreported(tally)) is not None:
            return [], error, ""
        if not readings:
            return [], None, _SHAKY
        counts = {name: value for name, (value, _) in tally.readings.items() if name != "elapsed"}
        given = [*_counted(readings, {**counts, SHARE: tally.share})]
        return given, tally.error() if tally.failed and not step.tolerates else None, ""


def _raised(action: object) -> InnerError | None:
    try:
        action()  # type: ignore[operator]
    except LeftOut as left:
        return left
    except InnerError as error:
        return error
    return None


def _is_range(words: str) -> bool:
    return all(word.partition(" ")[0] in ("min", "max", "above", "below") for word in words.split(" and "))


def _is_other(held: Held) -> bool:
    """Whether the limit is not the one of the run."""
    return held.before is None or held.after is None or held.before.limit != held.after.limit


def _telling(held: Held, telling: Callable[[str], str] | None) -> Held:
    after = held.after
    if telling is None or after is None or after.passed or held.reading.name not in JUDGES_FAILURES:
        return held
    return held._replace(after=replace(after, sentence=telling(after.sentence)))


def _counted(readings: Sequence[Reading], counts: Mapping[str, object]) -> Iterator[Reading]:
    """The readings with other numbers of steps or rounds that passed and failed."""
    for reading in readings:
        yield replace(reading, value=counts[reading.name]) if reading.name in counts else reading
