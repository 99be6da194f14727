"""The run behind the items of one plan, and what each of them comes to.

passed    the step passed, and so did all that it needed and that is no item of this session
failed    the unit, its link or a limit is to blame
error     station, plan, operator or benchrig are: nothing was judged
skipped   the step that is to blame is an item that says so itself, or a condition of the plan left this one out

What no item tells (a clean-up that is none of them, a report that was not written) is told at the end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, NamedTuple, Self

import pytest

from benchrig.errors import BenchrigError, StationError
from benchrig.launch import RunOptions
from benchrig.plan.given import MissingGiven
from benchrig.plan.given_words import with_secrets
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.pytesting.settings import ACKNOWLEDGE, SET, Settings, settings_of
from benchrig.pytesting.stepping import SteppedRun
from benchrig.pytesting.telling import Told, failure_text, marks, told_of, top
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent, Closed, Opened, RunEnded, Where
from benchrig.record.model import Record
from benchrig.report import explain, whole
from benchrig.run.choose import choose_nodes
from benchrig.run.ending import internal, verdict_of
from benchrig.run.unattended import Unattended

Outcome = Literal["passed", "failed", "error", "skipped"]
# The options of pytest that begin with what failed before.
_AGAIN = ("lf", "failedfirst", "stepwise")
_OUTCOMES: dict[str, Outcome] = {"pass": "passed", "fail": "failed", "error": "error"}


class Came(NamedTuple):
    """What an item came to; the headline is one line, the text all that is to be said."""

    outcome: Outcome
    headline: str = ""
    text: str = ""
    seconds: float = 0.0


@dataclass
class _Ends:
    """What is on record of the steps, as far as it decides items."""

    began: bool = False
    of_run: RunEnded | None = None
    all: dict[Where, Closed] = field(default_factory=dict)

    def __call__(self, event: AnyEvent) -> None:
        if isinstance(event, Closed) and (not event.where.rounds or event.verdict != "pass"):
            self.all[event.where.execution] = event
        elif isinstance(event, Opened):
            self.began = True
        elif isinstance(event, RunEnded):
            self.of_run = event

    def of(self, node: str) -> Closed | None:
        return self.all.get(Where(node))

    def root(self, where: Where | None) -> Closed | None:
        """The end that is to blame: what was skipped blames another."""
        seen: set[Where] = set()
        while where is not None and where not in seen and (end := self.all.get(where.execution)) is not None:
            if end.verdict != "skip":
                return end
            seen.add(where)
            where = end.root
        return None


@dataclass
class PlanRun:
    """`items` are the ids of the steps that this session asks for, in order."""

    plan: Plan
    nodes: Sequence[StepPlan]
    items: Sequence[str]
    settings: Settings
    config: pytest.Config
    _run: SteppedRun | None = None
    _ends: _Ends = field(default_factory=_Ends)
    _told: dict[str, Came] = field(default_factory=dict)
    # why nothing can be run at all, or any more
    _broken: BenchrigError | None = None

    @classmethod
    def of(cls, plan: Plan, case: str, config: pytest.Config, items: Sequence[str], *, is_whole: bool) -> Self:
        """A plan that `is_whole` has its values. Never raises for what is wrong with plan or station: that is what its
        first item comes to."""
        run = cls(plan, (), items, settings_of(config), config)
        try:
            run._begin(None if is_whole else case)
        except BenchrigError as error:
            run._broken = error
        return run

    def _begin(self, case: str | None) -> None:
        settings = self.settings
        if case is not None:
            self.plan = loaded(self.plan.path, settings, settings.values_of(self.plan.given, case))
        self.nodes = self._chosen(self.items)
        options = RunOptions(
            self.plan, self.nodes, settings.station, settings.radio, settings.results,
            seed=settings.seed, acknowledged=settings.acknowledged, history=settings.history,
        )  # fmt: skip
        self._run = SteppedRun(options, Unattended(ACKNOWLEDGE, SET, at_terminal=False), [self._ends])

    def _chosen(self, items: Sequence[str]) -> list[StepPlan]:
        """Where pytest begins with what failed in its last session, what changed the unit before that comes along."""
        again = any(self.config.getoption(name, None) for name in _AGAIN)
        return choose_nodes(self.plan, items, with_changes=again)

    def is_past(self, node: str) -> bool:
        """Whether another run has to begin for this step: this one was not for it."""
        return node not in self.items

    # --- items

    def reach(self, node: str) -> Came:
        """What the step comes to. KeyboardInterrupt where a signal ended it."""
        if self._broken is None and self._run is not None:
            self._advance(self._run, node)
        came = self._came_broken() if self._broken is not None else self._came(node)
        self._told[node] = came
        return came

    def _advance(self, run: SteppedRun, node: str) -> None:
        try:
            run.advance(node)
        except BenchrigError as error:
            self._broken = error
        except Exception as error:
            self._broken = internal(error)
        except BaseException as error:  # of another plugin, which tells it itself: the clean-up is still to come
            self._told[node] = Came("error", f"{type(error).__name__} ended the step")
            raise
        if run.is_interrupted:
            raise KeyboardInterrupt

    def _came_broken(self) -> Came:
        error = self._broken
        assert error is not None
        outcome: Outcome = "failed" if verdict_of(error) == "fail" else "error"
        message, advice = error.message, error.advice
        if isinstance(error, MissingGiven):
            advice = " ".join(f"{SET} {name}={'@FILE' if spec.secret else '…'}" for name, spec in error.missing.items())
        return self._of_run(outcome, error.cause, message, advice)

    def _of_run(self, outcome: Outcome, cause: str, message: str, advice: str) -> Came:
        """Of the first item; the others are skipped for it."""
        if self._told:
            return Came("skipped", f"the run ended before this step: {_line(message)}")
        headline = self._marked(f"{outcome} ({cause}): {_line(message)}")
        told = [f"the run: {outcome} ({cause}): {message}", *([f"advice: {advice}"] if advice else [])]
        return Came(outcome, headline, self._text(told))

    def _came(self, node: str) -> Came:
        ended, end = self._ends.of_run, self._ends.of(node)
        if ended is not None and not self._ends.began:
            return self._of_run(_OUTCOMES[ended.verdict], ended.cause or "internal", ended.message, ended.advice)
        if end is None:
            return self._of_run("error", "internal", "the run did not come to this step", "")
        if end.verdict == "pass":
            return self._needed(node) or Came("passed", seconds=end.elapsed)
        if end.verdict == "skip":
            return self._skipped(node, end)
        return self._failed(end, end.where)

    def _skipped(self, node: str, end: Closed) -> Came:
        if end.allowed:
            return Came("skipped", _line(end.message))
        root = self._ends.root(end.root)
        if root is None:
            said = f"error (plan): step {end.where.label} was skipped: {_line(end.message)}"
            return Came("error", self._marked(said), self._text([said]))
        came = self._told.get(top(root.where.node))
        if came is not None and came.outcome in ("failed", "error") and top(root.where.node) != node:
            return Came("skipped", _line(end.message))
        return self._failed(root, root.where)

    def _needed(self, node: str) -> Came | None:
        """What a step comes to that passed, where one did not that it needs and that no item tells of."""
        if len(self.nodes) == len(self.items):
            return None
        for needed in self._chosen([node]):
            end = self._ends.of(needed.id)
            alone = needed.section == "steps" and needed.id not in self.items
            if alone and end is not None and end.counts_as != "pass":
                root = end if end.verdict != "skip" else self._ends.root(end.root) or end
                return self._failed(root, root.where)
        return None

    def _failed(self, end: Closed, where: Where) -> Came:
        """The words of the step that is to blame, and of what is in it."""
        record = self._record()
        lines = failure_text(record, top(where.node))
        own = self._ends.of(top(where.node)) or end
        said = _line(own.message) or explain.EXIT_MEANINGS[5]
        headline = self._marked(f"{own.verdict} ({own.cause or 'plan'}): {said}")
        outcome: Outcome = "failed" if own.verdict == "fail" else "error"
        return Came(outcome, headline, self._text(lines or [headline]), own.elapsed)

    def _record(self) -> Record:
        assert self._run is not None
        return build_record(self._run.events)

    def _marked(self, headline: str) -> str:
        """Who reads nothing else must see it."""
        return f"[SIMULATED] {headline}" if self.settings.radio.simulated else headline

    def _text(self, lines: Sequence[str]) -> str:
        folder = self._run.folder if self._run is not None else None
        return "\n".join([*lines, *marks(simulated=self.settings.radio.simulated, folder=folder)])

    # --- the end

    def end(self) -> tuple[Told | None, str]:
        """Do what is left: the steps only where all that were asked for have been reached. What there is to tell of the run, and
        what no item has told."""
        if self._run is None or self._broken is not None:
            return None, ""
        steps = [node.id for node in self.nodes if node.section == "steps" and node.id in self.items]
        stopped = any(node not in self._told for node in steps)
        try:
            finished = self._run.finish(interrupt=stopped)
        except BenchrigError as error:
            return None, self._text([f"the run: error ({error.cause}): {error.message}"])
        verbose = self.config.get_verbosity() > 0
        told = told_of(finished, self.plan.name, table=verbose)
        return told, self._trouble(finished.record, finished.troubles, stopped=stopped)

    def _trouble(self, record: Record, troubles: Sequence[StationError], *, stopped: bool) -> str:
        lines: list[str] = []
        if not self._is_told(record, stopped=stopped):
            lines = [line for node in self._untold() for line in failure_text(record, node)]
            lines = lines or [f"{whole.reason(record) or whole.verdict_line(record)}"]
        lines += [f"the run: error (station): {each.message}" for each in troubles]
        return self._text(lines) if lines else ""

    def _is_told(self, record: Record, *, stopped: bool) -> bool:
        """Whether the items say that the run did not pass."""
        ended = record.ended
        if ended is None or ended.verdict == "pass":
            return ended is not None
        if self._untold():
            return False
        told = {came.outcome for came in self._told.values()}
        interrupted = stopped and ended.cause == "operator"
        return interrupted or bool(told & ({"error"} if ended.verdict == "error" else {"failed", "error"}))

    def _untold(self) -> list[str]:
        """The steps that did not pass and that no item tells of: those of the clean-up, mostly."""
        ends: dict[str, Any] = {node.id: self._ends.of(node.id) for node in self.nodes if node.section == "finally"}
        return [
            node
            for node, end in ends.items()
            if end is not None and end.verdict in ("fail", "error") and node not in self._told
        ]


def loaded(path: Path, settings: Settings, given: Mapping[str, str]) -> Plan:
    """The plan with its values. Raises what is wrong with either."""
    seed = settings.seed if settings.radio.simulated else None
    limits = settings.limits_of(path)
    return load_plan(path, with_secrets(path, given, SET), seed=seed, forbid=settings.station.forbid, limits=limits)


def _line(text: str) -> str:
    return " ".join(text.split())
