"""Runs the steps of a plan: order, deadlines, attempts, what depends on what, clean-up. Emits events, no more."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import msgspec

from benchrig.errors import (
    BenchrigError,
    InternalError,
    LinkError,
    LinkLost,
    NoAnswer,
    OperatorError,
    StepFailed,
    StepTimeout,
)
from benchrig.plan.filling import filled, unfit
from benchrig.plan.model import Plan, StepPlan
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection, of_device
from benchrig.record.model import (
    AnyEvent,
    AttemptFailed,
    Noted,
    NotJudged,
    Reading,
    RunEnded,
    StepEnded,
    StepStarted,
    Verdict,
)
from benchrig.run.bench import RunBench
from benchrig.run.clock import Clock
from benchrig.run.ending import LEAVE_OUT, closed, given_all, internal, step_verdict, traceback_of
from benchrig.run.head import RunSettings, may_lack, run_started
from benchrig.run.loop import outside
from benchrig.run.outcome import Outcome
from benchrig.run.station import check_allowed
from benchrig.source.problem import Problem
from benchrig.source.shape import Misfit
from benchrig.steps.base import Step
from benchrig.steps.bench import Operator

# Between attempts; the last one repeats.
BACK_OFF = (0.25, 0.5, 1.0)
# The step's own deadline fires first, with a better sentence; this one catches what does not look at it.
GRACE = 0.5
# Sums of times are this exact.
_INSTANT = 1e-6
# What a request on its way may still take after an interruption; cancelling it would cost the link that finally needs.
REQUEST_WITHIN = 1.0
# What finally steps may take together after an interruption.
FINALLY_WITHIN = 10.0
_CLEAN_UP_OVER = f"the {FINALLY_WITHIN:g} s that the clean-up has after an interruption ran out"

T = TypeVar("T")
Emit = Callable[[AnyEvent], None]


@dataclass
class Runner:
    """One run of a plan. `open_radio` is called once, `emit` gets every event in order."""

    plan: Plan
    steps: Sequence[StepPlan]
    settings: RunSettings
    open_radio: Callable[[], Awaitable[Radio]]
    operator: Operator
    emit: Emit
    _outcome: Outcome = field(init=False)
    _blocked: dict[str, int] = field(default_factory=dict)
    _bench: RunBench | None = None
    _scope: asyncio.Timeout | None = None
    _interrupts: int = 0
    _cleaning: bool = False
    _clean_by: float | None = None
    _current: int = 0

    def __post_init__(self) -> None:
        self._outcome = Outcome(sum(len(step.limit_names) for step in self.steps))

    def interrupt(self) -> None:
        """Stop after the operation at hand, run the finally steps, clean up; called twice, leave these out too."""
        self._interrupts += 1
        self._bound_clean_up()
        if self._scope is not None:
            end = asyncio.get_running_loop().time() + self._still_granted
            with contextlib.suppress(RuntimeError):
                self._scope.reschedule(min(end, self._scope.when() or end))

    @property
    def _still_granted(self) -> float:
        """What the work at hand may take after an interruption: the clean-up goes on, a request gets its answer."""
        if self._is_stopped:
            busy = self._interrupts == 1 and self._bench is not None and self._bench.is_busy
            return REQUEST_WITHIN if busy else 0.0
        return FINALLY_WITHIN

    @property
    def _is_stopped(self) -> bool:
        """Whether the steps of this section are not to go on: the first interruption leaves the clean-up alone."""
        return self._interrupts > self._cleaning

    def _bound_clean_up(self) -> None:
        if self._cleaning and self._interrupts and self._clean_by is None:
            self._clean_by = asyncio.get_running_loop().time() + FINALLY_WITHIN

    def blame(self, error: BenchrigError) -> None:
        """Something outside the steps went wrong: it counts, before all else when it is a bug, and the steps go on."""
        if isinstance(error, InternalError):
            self._outcome.broken(error)
        else:
            self._outcome.fatal(error, 0)
        self.emit(Noted(self._clock.at, error.message))

    async def run(self) -> RunEnded:
        """Never raises for anything that happens to the unit, the link or the station: that is the verdict."""
        self._clock = Clock()
        self._values: dict[str, Any] = dict(self.plan.values)
        self._head()
        try:
            radio = await self._guarded(None, self._opened())
        except BenchrigError as error:
            return self._end_before(error)
        except Exception as error:
            return self._end_before(internal(error))
        try:
            for name, fact in radio.facts.items():
                self.emit(Noted(self._clock.at, f"{name}: {fact}"))
            if offset := self.settings.station.offset:
                self.emit(Noted(self._clock.at, f"levels: {offset:+g} dB for the fixture, from the station file"))
            await self._steps(radio)
            if (late := await radio.aftermath()) is not None:
                self._outcome.fatal(late, 0)
            for sentence in radio.remarks():
                self.emit(Noted(self._clock.at, sentence))
        finally:
            if (trouble := await closed(radio)) is not None:
                self._not_closed(trouble)
        ended = self._outcome.ended(self._clock.at)
        self.emit(ended)
        return ended

    def _not_closed(self, error: BenchrigError) -> None:
        """A radio that does not close is a remark, but one that broke down has judged nothing truly."""
        self.emit(Noted(self._clock.at, f"closing the radio: {error.message}"))
        if isinstance(error, InternalError):
            self._outcome.broken(error)

    # --- before the first step

    def _head(self) -> None:
        self.emit(run_started(self.plan, self.steps, self.settings))
        if device := self.settings.device:
            self.emit(Noted(self._clock.at, f"of the devices that the plan selects, only {device} is meant"))

    async def _opened(self) -> Radio:
        check_allowed(self.steps, self.settings.station)
        await self._acknowledge()
        radio = await self.open_radio()
        try:
            for sentence in await radio.prepare(self._selection()):
                self.emit(Noted(self._clock.at, sentence))
        except BaseException:
            await closed(radio)
            raise
        return radio

    def _selection(self) -> Selection:
        """The plan's, narrowed to the device that this run is for."""
        device = self.settings.device
        return replace(self.plan.selection(), also=of_device(device) if device else None)

    async def _acknowledge(self) -> None:
        """The caution is shown before anything is opened, so before the first write."""
        if not self.plan.caution or not any(step.kind.writes for step in self.steps):
            return
        if self.settings.acknowledged:
            by = "on the command line"
        else:
            with outside():
                by = await self.operator.acknowledge(self.plan.caution)
        self.emit(Noted(self._clock.at, f"caution acknowledged {by}: {self.plan.caution}"))

    def _end_before(self, error: BenchrigError) -> RunEnded:
        """Nothing was tried: every step is skipped, the run names the reason."""
        for step in self.steps:
            self._skip(step, None, "the run ended before its first step")
        self._outcome.fatal(error, 0)
        ended = msgspec.structs.replace(self._outcome.ended(self._clock.at), advice=error.advice)
        self.emit(ended)
        return ended

    # --- the steps

    async def _steps(self, radio: Radio) -> None:
        bench = self._bench = RunBench(
            radio,
            self.plan.names,
            self._selection(),
            self._values,
            self.operator,
            self.emit,
            folder=self.settings.folder,
            plan_folder=self.plan.path.parent.resolve(),
            clock=self._clock,
            rssi_offset=self.settings.station.offset,
        )
        # the time of all steps together begins here: neither the operator's nor the radio's counts against the unit
        deadline = asyncio.get_running_loop().time() + self.plan.deadline if self.plan.deadline else None
        for step in self.steps:
            self._cleaning = step.section == "finally"
            self._bound_clean_up()
            await self._step(bench, step, self._clean_by if self._cleaning else deadline)
        if self._interrupts and not self._outcome.interrupted:
            self._outcome.fatal(OperatorError("interrupted"), self._current)

    async def _step(self, bench: RunBench, plan: StepPlan, plan_deadline: float | None) -> None:
        self._current = plan.number
        bench.clear()
        if (why := self._why_skipped(plan, bench)) is not None:
            self._forget(plan)
            self._skip(plan, *why)
            return
        started, had_link = asyncio.get_running_loop().time(), bench.link_is_up
        attempts, error = 1, None
        try:
            step = self._begun(plan)
            attempts, error = await self._attempts(bench, plan, step, plan_deadline)
        except BenchrigError as exc:
            error = exc
        except Exception as exc:
            error = internal(exc)
        if error is None and had_link and not bench.link_is_up and not bench.closed_link:
            error = await self._lost_meanwhile(bench)  # while a step was at work that needs no link
        self._finish(bench, plan, attempts, error, started)

    async def _lost_meanwhile(self, bench: RunBench) -> BenchrigError:
        return await bench.trouble() or LinkLost(f"the link was lost in this step ({bench.lost_reason})")

    def _skip(self, plan: StepPlan, root: int | None, message: str) -> None:
        self.emit(StepEnded(plan.number, self._clock.at, 0.0, "skip", message=message, root=root))
        for name in plan.limit_names:
            self.emit(NotJudged(plan.number, self._clock.at, name, message))
        self._outcome.skipped(plan, root, message)

    def _forget(self, plan: StepPlan) -> None:
        """What the step saves is no longer what an earlier one saved, also when it fails: nothing is held against that."""
        for name in plan.saves:
            self._values.pop(name, None)

    def _begun(self, plan: StepPlan) -> Step:
        """The step with its references replaced, and its name: a reference may stand in that too."""
        name, at = "", self._clock.at
        try:
            step = filled(plan, self._values, self.plan.names)
            self._forget(plan)
            name = plan.name_of(step)
            return step
        finally:
            self.emit(StepStarted(plan.number, at, name))

    def _why_skipped(self, plan: StepPlan, bench: RunBench) -> tuple[int | None, str] | None:
        """The root step and the sentence when the step cannot run; None when it can."""
        in_finally = plan.section == "finally"
        if self._is_stopped:
            return self._blocked.get("stop"), "the run was interrupted"
        if not in_finally and "stop" in self._blocked:
            return self._blocked["stop"], f"step {self._blocked['stop']} ended the run"
        if plan.kind.verb == "connect" and "unit" in self._blocked:
            return self._blocked["unit"], f"the unit was not found (step {self._blocked['unit']})"
        if plan.kind.verb == "connect" and self._interrupts and not bench.unit_is_known:
            return self._blocked.get("stop"), "the run was interrupted before the unit was found"
        if plan.kind.needs_link and not bench.link_is_up and (self._blocked or in_finally):
            if "link" not in self._blocked and (root := self._blocked.get("unit")):
                return root, f"the unit was not found (step {root})"
            root = self._blocked.get("link")
            return root, f"step {root} left no link" if root else "there is no link"
        for name in sorted(plan.uses - self._values.keys()):
            root = next((s.number for s in reversed(self.steps) if name in s.saves and s.number < plan.number), None)
            if root is not None:
                return root, f"step {root} gave no '{name}'"
        return None

    async def _attempts(
        self, bench: RunBench, plan: StepPlan, step: Step, plan_deadline: float | None
    ) -> tuple[int, BenchrigError | None]:
        """Try until it works, a limit is broken, or attempts or time are used up."""
        loop = asyncio.get_running_loop()
        deadline = loop.time() + step.deadline
        cut = plan_deadline is not None and plan_deadline < deadline
        if cut and plan_deadline is not None:
            deadline = plan_deadline
        for attempt in range(1, step.attempts + 1):
            share = (deadline - loop.time()) / (step.attempts - attempt + 1)
            error = await self._attempt(bench, plan, step, attempt, loop.time() + share)
            readings = bench.finish()
            judged = [r for r in readings if r.judgement is not None]
            if error is None or not self._retry(error, attempt, step, judged) or loop.time() >= deadline:
                break
            self.emit(AttemptFailed(plan.number, attempt, self._clock.at, error.cause, error.message))
            await asyncio.sleep(min(BACK_OFF[min(attempt - 1, len(BACK_OFF) - 1)], max(0.0, deadline - loop.time())))
        if error is None:
            error = given_all(bench)
        if error is not None and cut and loop.time() > deadline - _INSTANT and isinstance(error, TimeoutError):
            error = self._out_of_time(error, plan.number)
        return attempt, error

    def _out_of_time(self, error: BenchrigError, number: int) -> BenchrigError:
        """What to say when not the step's own time ran out."""
        if self._cleaning:
            return OperatorError(_CLEAN_UP_OVER)
        self._blocked.setdefault("stop", number)
        return StepTimeout(f"the plan's deadline of {self.plan.deadline:g} s ran out ({error.message})")

    def _retry(self, error: BenchrigError, attempt: int, step: Step, judged: list[Reading]) -> bool:
        """Trouble with link or device may pass; a wrong value and a limit that was broken are answers."""
        broken = any(r.judgement is not None and not r.judgement.passed for r in judged)
        # the link of the last attempt does not come back by itself, and want of it is not what went wrong
        helpless = step.needs_link and self._bench is not None and not self._bench.link_is_up
        return attempt < step.attempts and error.may_pass and not (broken or helpless or self._interrupts)

    async def _attempt(
        self, bench: RunBench, plan: StepPlan, step: Step, attempt: int, deadline: float
    ) -> BenchrigError | None:
        try:
            bench.begin(plan, step, attempt, deadline)
            if self._is_stopped:
                raise OperatorError("interrupted")  # between two attempts, where no scope was open
            await self._guarded(deadline + GRACE, step.run(bench))
        except (LinkError, NoAnswer, StepTimeout) as error:
            # if the radio failed, blame the station; if the unit's program crashed, say that
            await bench.tidy()
            if self._is_stopped:
                return OperatorError("interrupted")
            return await bench.trouble() or error
        except BenchrigError as error:
            return error
        except Misfit as misfit:
            return unfit([Problem(plan.place, misfit.message, misfit.advice)])
        except Exception as error:
            return internal(error)
        return None

    async def _guarded(self, deadline: float | None, work: Awaitable[T]) -> T:
        """Do the work, but end it at the deadline or at an interruption."""
        try:
            async with asyncio.timeout_at(deadline) as scope:
                self._scope = scope
                return await work
        except asyncio.CancelledError as exc:
            task = asyncio.current_task()
            if task is None or task.cancelling():
                raise
            # not this run was ended but something that it waited for: without a verdict nobody would know
            raise internal(exc) from exc
        except TimeoutError as exc:
            if not scope.expired():
                raise
            if self._is_stopped:
                raise OperatorError("interrupted") from None
            if self._clean_by is not None and asyncio.get_running_loop().time() > self._clean_by - _INSTANT:
                raise OperatorError(_CLEAN_UP_OVER) from None
            raise StepTimeout("the step did not end within its time") from exc
        finally:
            self._scope = None

    # --- after a step

    def _finish(
        self,
        bench: RunBench,
        plan: StepPlan,
        attempts: int,
        error: BenchrigError | None,
        started: float,
    ) -> None:
        judgements = [r.judgement for r in bench.readings if r.judgement is not None]
        broken = [judgement.sentence for judgement in judgements if not judgement.passed]
        left = self._not_judged(bench, plan, error)
        verdict, cause, message = step_verdict(
            error, broken, [f"{each.name} is not judged: {each.reason}" for each in left]
        )
        self.emit(
            StepEnded(
                plan.number,
                self._clock.at,
                self._clock.since(started),
                verdict,
                cause,
                message,
                advice=error.advice if error else LEAVE_OUT if left and not broken else "",
                attempts=attempts,
                traceback=traceback_of(error),
            )
        )
        self._outcome.step(plan, verdict, cause, message, len(judgements), only_left=error is None and not broken)
        self._remember(bench, plan, verdict, error)

    def _not_judged(self, bench: RunBench, plan: StepPlan, error: BenchrigError | None) -> list[NotJudged]:
        """Put every planned limit on record that nothing was held against; those that a pass cannot do without."""
        judged = {reading.name for reading in bench.readings if reading.judgement is not None}
        unmeasured = bench.unmeasured()
        left = []
        for name in plan.limit_names:
            if name in judged:
                continue
            reason = unmeasured.get(name) or (error.message if error else "the step gave no such reading")
            allowed = name in unmeasured and f"{plan.kind.verb}.{name}" in may_lack(self.plan, self.settings)
            event = NotJudged(plan.number, self._clock.at, name, reason, name in unmeasured, allowed)
            self.emit(event)
            self._outcome.not_judged(allowed)
            if not allowed:
                left.append(event)
        return left

    def _remember(self, bench: RunBench, plan: StepPlan, verdict: Verdict, error: BenchrigError | None) -> None:
        """What the later steps can no longer count on, and since which step."""
        if plan.kind.verb == "scan":
            self._blocked.pop("unit", None)
            if error is not None and not isinstance(error, (OperatorError, StepFailed, StepTimeout)):
                self._blocked["unit"] = plan.number
        if bench.link_is_up:
            self._blocked.pop("link", None)
        elif self._cost_the_link(plan, error) or (bench.closed_link and plan.kind.executes):
            self._blocked.setdefault("link", plan.number)
        ended = verdict == "error" and error is not None  # one limit that was not judged ends nothing
        fatal = ended or (verdict == "fail" and plan.on_fail == "stop")
        if fatal and plan.section == "steps":
            self._blocked.setdefault("stop", plan.number)

    @staticmethod
    def _cost_the_link(plan: StepPlan, error: BenchrigError | None) -> bool:
        """Whether a step after which there is no link is the one to blame for that."""
        if plan.kind.verb == "disconnect":
            return error is not None
        return plan.kind.needs_link or plan.kind.verb == "connect" or isinstance(error, LinkLost)
