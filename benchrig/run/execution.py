"""One execution of one step: its attempts, its time, its end, and the fate of its limits."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from msgspec.structs import replace

from benchrig.errors import (
    BenchrigError,
    LeftOut,
    LinkError,
    LinkLost,
    NoAnswer,
    OperatorError,
    StationError,
    StepTimeout,
    UsageError,
)
from benchrig.plan.filling import filled, unfit
from benchrig.plan.step_kinds import origin
from benchrig.plan.tree import StepPlan
from benchrig.radio.device import DeviceSession
from benchrig.record.events import AttemptFailed, NotJudged, Opened, Where
from benchrig.run.composite import CompositeContext
from benchrig.run.context import StepContext, Surroundings
from benchrig.run.control import CLEAN_UP_OVER, GRACE, INSTANT, Control
from benchrig.run.ending import Ended, closing, concluded, internal
from benchrig.run.inside import Bound, Inside
from benchrig.source.problem import Problem
from benchrig.source.shape import Misfit
from benchrig.steps.base import Cap, Step
from benchrig.steps.composite import Watch
from benchrig.steps.loss import carried_out
from benchrig.tasks import first_of

if TYPE_CHECKING:
    from benchrig.radio.link import Link

# Between attempts; the last one repeats.
BACK_OFF = (0.25, 0.5, 1.0)


class PlanTime(NamedTuple):
    """What all steps together may take, and when it is over on the loop's clock."""

    seconds: float
    ends: float

    def later(self, seconds: float) -> PlanTime:
        return self._replace(ends=self.ends + seconds)


@dataclass
class StepExecution:
    """Of a step of the plan, on a device. `may_lack` names the limits ('step.reading') that need not be judged where the radio
    does not tell the reading."""

    run: Surroundings
    device: DeviceSession
    control: Control
    plan: StepPlan
    where: Where
    plan_time: PlanTime | None = None
    may_lack: AbstractSet[str] = frozenset()
    watches: Sequence[Watch] = ()
    # what is in a composite step
    inside: Inside | None = None
    # whether the link may be lost in it, which the step around it sees to
    lets_go: bool = False
    # the limits that conditions of the plan leave out, and why
    left_out: Mapping[str, str] = field(default_factory=dict)
    # why it cannot be carried out at all
    unable: BenchrigError | None = None
    # whether the step around it needs the link: what is missing once that is lost is no fault of the unit
    holds_link: bool = False
    # what an error comes to after what has happened before
    explained: Callable[[BenchrigError | None], BenchrigError | None] = lambda error: error
    # what the step around it can wait for it
    bound: Bound | None = None
    _context: StepContext | None = None
    _attempts: int = 1
    _out_of_time: bool = False

    async def carry_out(self) -> Ended:
        """Never raises for anything that happens to the unit, the link or the station: that is the verdict."""
        started, had_link = self.run.clock.now(), self.device.is_up
        error = self.explained(await self._done())
        lost = had_link and not self.device.is_up and not self.device.was_ended
        unblamed = error is None or (self.holds_link and error.cause == "limit")
        if unblamed and lost and self.inside is None and not self.lets_go:
            error = await self._lost_meanwhile()  # while a step was at work that needs no link
        ended = self._ended(error, started)
        if self.plan.loses and self.device.is_up and (error is None or ended.event.verdict == "fail"):
            await self.device.close()  # what follows counts on no link
        return ended

    async def _done(self) -> BenchrigError | None:
        try:
            step = self._begun()
            return self.unable or self._blamed(await self._tried(step))
        except BenchrigError as error:
            return self._blamed(error)
        except Exception as error:
            return internal(error)

    def _blamed(self, error: BenchrigError | None) -> BenchrigError | None:
        """What makes no sense is the plan's, but where code of another package did it."""
        brought = origin(self.plan.kind)
        if brought is None or not isinstance(error, UsageError):
            return error
        return StationError(f"{brought.called}: {error.message}", advice=error.advice)

    async def _lost_meanwhile(self) -> BenchrigError:
        known = await self.device.radio.trouble()
        return known or LinkLost(f"the link was lost in this step ({self.device.lost_reason})")

    @property
    def _values(self) -> dict[str, Any]:
        """What references stand for; a value of the plan with the name of another one comes first."""
        return {"now": self.run.clock.date, **self.run.values}

    def _begun(self) -> Step:
        """The step with its references replaced, and its name: a reference may stand in that too."""
        name, subject, at = "", "", self.run.clock.at
        try:
            step = self.plan.step or filled(self.plan, self._values)
            self.run.forget(self.plan, self.where)
            if self.plan.step is None:
                name, subject = self.plan.name_of(step), step.subject(self.plan.names)
            return step
        finally:
            self.run.emit(Opened(self.where, at, name, subject))

    # --- attempts

    async def _tried(self, step: Step) -> BenchrigError | None:
        """Try until it works, a limit is broken, or attempts or time are used up."""
        now = self.run.clock.now
        deadline = now() + step.deadline
        cut = self.plan_time is not None and self.plan_time.ends < deadline
        if cut and self.plan_time is not None:
            deadline = self.plan_time.ends
        bound = self.bound if self.bound is not None and self.bound.ends < deadline else None
        deadline = bound.ends if bound is not None else deadline
        for attempt in range(1, step.attempts + 1):
            self._attempts = attempt
            share = (deadline - now()) / (step.attempts - attempt + 1)
            where = self.where if attempt == 1 else replace(self.where, attempt=attempt)
            error = await self._attempt(step, where, now() + share)
            if self._context is not None:
                self._context.readings.finish()
            if error is None or not self._may_retry(error, step) or now() >= deadline:
                break
            self.run.emit(AttemptFailed(where, self.run.clock.at, error.cause, error.message))
            await asyncio.sleep(min(BACK_OFF[min(attempt - 1, len(BACK_OFF) - 1)], max(0.0, deadline - now())))
        if self._context is not None:
            self._context.readings.tell()
            if error is None:
                self._context.readings.complete()
        if error is None or now() <= deadline - INSTANT:
            return error
        if bound is not None:
            return error if self.inside is not None else _bound_over(bound)
        return self._plan_out_of_time(error) if cut and isinstance(error, TimeoutError) else error

    def _plan_out_of_time(self, error: BenchrigError) -> BenchrigError:
        """What to say when not the step's own time ran out."""
        if self.control.cleaning or self.plan_time is None:
            return OperatorError(CLEAN_UP_OVER)
        self._out_of_time = True
        return StepTimeout(f"the plan's deadline of {self.plan_time.seconds:g} s ran out ({error.message})")

    def _may_retry(self, error: BenchrigError, step: Step) -> bool:
        """Trouble with link or device may pass; a wrong value and a limit that was broken are answers."""
        broken = self._context is not None and bool(self._context.readings.broken)
        # the link of the last attempt does not come back by itself, and want of it is not what went wrong
        helpless = Cap.LINK in self.plan.needs and not self.device.is_up
        return self._attempts < step.attempts and error.may_pass and not (broken or helpless or self.control.interrupts)

    async def _attempt(self, step: Step, where: Where, deadline: float) -> BenchrigError | None:
        self._context = None
        try:
            if self.control.is_stopped:
                raise OperatorError("interrupted")  # between two attempts, where no scope was open
            if self.inside is not None:
                await self._of_composite(self.inside, step, where, deadline)
                return None
            context = self._context = StepContext(
                self.run, self.device, self.plan, step, where, deadline, self.watches, self.lets_go
            )
            await self.control.guarded(deadline + GRACE, self._held(step, context))
        except (LinkError, NoAnswer, StepTimeout) as error:
            return await self._explained(error)
        except Misfit as misfit:
            return unfit([Problem(self.plan.place, misfit.message, misfit.advice)])
        except BenchrigError as error:
            return error
        except Exception as error:
            brought = origin(self.plan.kind)
            return brought.broke_off(error) if brought else internal(error)
        return None

    async def _held(self, step: Step, context: StepContext) -> None:
        """Where the step around it needs the link, nothing goes on without that."""
        if self.holds_link and self.device.is_up:
            await first_of(carried_out(step, context), _loss_of(self.device.link))
        else:
            await carried_out(step, context)

    async def _of_composite(self, inside: Inside, step: Step, where: Where, deadline: float) -> None:
        context = self._context = CompositeContext(
            inside, self.control, self.run, self.device, self.plan, step, where, deadline, self.watches
        )
        await step.run(context)

    async def _explained(self, error: BenchrigError) -> BenchrigError:
        """If the radio failed, blame the station; if the unit's program crashed, say that."""
        await self.device.radio.tidy()
        if self.control.is_stopped:
            return OperatorError("interrupted")
        return await self.device.radio.trouble() or error

    # --- the end

    def _ended(self, error: BenchrigError | None, started: float) -> Ended:
        readings = self._context.readings if self._context is not None else None
        judged, broken = (readings.judged, readings.broken) if readings is not None else (set[str](), list[str]())
        unjudged = [self._not_judged(name, error) for name in self.plan.limit_names if name not in judged]
        # a limit that the step brings itself stays, whatever is written beside it
        gone = {name: why for name, why in self.left_out.items() if name not in self.plan.limit_names}
        unjudged += [self._no_limit(name, why) for name, why in gone.items()]
        came = concluded(error, broken, unjudged)
        if self.inside is not None:
            self.inside.leave_out_rest(f"step {self.where.label} ended before it: {came.message}")
        at, elapsed = self.run.clock.at, self.run.clock.since(started)
        event = closing(self.where, at, elapsed, self._attempts, error, came)
        self.run.emit(event)
        return Ended(event, error, len(judged), unjudged, error is None and not broken, self._out_of_time)

    def _not_judged(self, name: str, error: BenchrigError | None) -> NotJudged:
        """Put a planned limit on record that nothing was held against."""
        if isinstance(error, LeftOut):
            return self._no_limit(name, error.message)
        if self._context is not None and (why := self._context.readings.left_out.get(name)):
            return self._no_limit(name, why)
        unmeasured = self._context.readings.unmeasured().get(name, "") if self._context is not None else ""
        reason = unmeasured or (error.message if error else "the step gave no such reading")
        allowed = bool(unmeasured) and f"{self.plan.kind.verb}.{name}" in self.may_lack
        event = NotJudged(self.where, self.run.clock.at, name, reason, bool(unmeasured), allowed)
        self.run.emit(event)
        return event

    def _no_limit(self, name: str, why: str) -> NotJudged:
        """Put a limit on record that the plan has for other runs."""
        event = NotJudged(self.where, self.run.clock.at, name, why, allowed=True)
        self.run.emit(event)
        return event


async def _loss_of(link: Link) -> None:
    await link.lost.wait()
    raise LinkLost(f"the link was lost, which the step around this one needs ({link.lost_reason})")


def _bound_over(bound: Bound) -> StepTimeout:
    """What to say when the step around it cannot wait any longer."""
    return StepTimeout(
        f"the {bound.seconds:g} s that the step around it has for its steps were over",
        advice="let the steps in it end sooner: prepare before it what takes long",
    )
