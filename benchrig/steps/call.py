"""call: a Python function with the bench in its hand."""

from __future__ import annotations

import asyncio
import inspect
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any, ClassVar

import msgspec

from benchrig.errors import BenchrigError, LinkLost, StationError, StepFailed, UsageError
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import LOST, NOTHING, About, Cap, Step
from benchrig.steps.bench import Bench
from benchrig.steps.function import load_function, placed, raised
from benchrig.steps.lent import Bench as LentBench
from benchrig.steps.returned import readings_of
from benchrig.threads import in_thread
from benchrig.values.limit_keys import AnyValue


class Call(Step, kw_only=True):
    """Call `module:function` with the bench and the arguments of `with`; what it returns are readings.

    It may return nothing, one value (the reading `value`) or a mapping of readings. An ordinary function runs in a thread,
    an async one in the bench's loop. AssertionError and StepFailed fail the unit, StationError says that the bench cannot
    test; any other exception is a mistake in the function, so in the plan.
    """

    verb: ClassVar[str] = "call"
    may_lose: ClassVar[bool] = True
    needs: ClassVar[frozenset[Cap]] = NOTHING
    # a function can write: whoever has a caution to acknowledge is asked before it
    writes: ClassVar[bool] = True
    readings_are_foreign: ClassVar[bool] = True
    executes: ClassVar[bool] = True
    within_default: ClassVar[float] = 60.0

    call: str
    with_: dict[str, AnyValue] = msgspec.field(name="with", default_factory=dict)
    about: About | None = None

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        module, _, function = self.call.partition(":")
        if not (all(part.isidentifier() for part in module.split(".")) and function.isidentifier()):
            yield Misfit(
                f"expected module:function, found '{self.call}'", "for example: chamber:warm_up", path=("call",)
            )

    def readings(self, names: Names) -> None:
        return None

    async def run(self, bench: Bench) -> None:
        function = load_function(self.call, bench.plan_folder)
        bench.acts()
        started = bench.now()
        result = await self._until_lost(function, bench)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")
        try:
            for name, value, unit in readings_of(result, f"{self.call} returned"):
                bench.reading(name, value, unit, why=f"{self.call} returned none" if value is None else "")
        except UsageError as error:
            raise placed(error, function) from error

    async def _until_lost(self, function: Callable[..., Any], bench: Bench) -> Any:
        """What the function returned; where the link is meant to end, that may end the function too."""
        try:
            return await self._result(function, bench)
        except LinkLost:
            for name in {*self.limits, *self.save} - LOST if bench.may_lose else ():
                bench.reading(name, None, why=f"the link was lost before {self.call} returned")
            raise

    async def _result(self, function: Callable[..., Any], bench: Bench) -> Any:
        within, task = bench.time_left, asyncio.current_task()
        assert task is not None
        scope, asked = asyncio.timeout(within), task.cancelling()
        try:
            async with scope:
                return await self._call(function, bench)
        except Misfit as exc:
            raise raised(self.call, exc, function) from exc
        except UsageError as exc:
            raise placed(exc, function) from exc
        except BenchrigError:
            raise
        except AssertionError as exc:
            raise StepFailed(f"{self.call}: {exc or 'assertion failed'}") from exc
        except BaseException as exc:
            if task.cancelling() > asked:  # the step is ended: that is not the function's
                raise
            if scope.expired():
                raise StationError(f"{self.call} did not return within {within:.3g} s") from exc
            raise raised(self.call, exc, function) from exc

    async def _call(self, function: Callable[..., Any], bench: Bench) -> Any:
        with LentBench(bench) as lent:
            if inspect.iscoroutinefunction(function):
                return await function(lent, **self.with_)
            with bench.outside():
                done = await in_thread(partial(function, lent, **self.with_))
            return done.result()
