"""call: a Python function with the bench in its hand."""

from __future__ import annotations

import asyncio
import inspect
import numbers
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from functools import partial
from typing import Any, ClassVar

import msgspec

from benchrig.errors import BenchrigError, StationError, StepFailed, UsageError
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import Step
from benchrig.steps.bench import Bench
from benchrig.steps.function import load_function, raised
from benchrig.threads import in_thread
from benchrig.values.limit import AnyValue
from benchrig.values.quantity import Quantity, as_number, exact, is_number


class Call(Step, kw_only=True):
    """Call `module:function` with the bench and the arguments of `with`; what it returns are readings.

    It may return nothing, one value (the reading `value`) or a dict of readings; a value may be a Quantity. An
    ordinary function runs in a thread, an async one in the bench's loop. AssertionError and StepFailed fail the unit,
    StationError says that the bench cannot test; any other exception is a mistake in the function, so in the plan.
    """

    verb: ClassVar[str] = "call"
    needs_link: ClassVar[bool] = False
    executes: ClassVar[bool] = True
    within_default: ClassVar[float] = 60.0

    call: str
    with_: dict[str, AnyValue] = msgspec.field(name="with", default_factory=dict)

    def misfits(self) -> Iterable[Misfit]:
        yield from super().misfits()
        module, _, function = self.call.partition(":")
        if not (all(part.isidentifier() for part in module.split(".")) and function.isidentifier()):
            yield Misfit(f"'{self.call}' is no 'module:function'", "for example: chamber:warm_up", path=("call",))

    def readings(self, names: Names) -> None:
        return None

    async def run(self, bench: Bench) -> None:
        function = load_function(self.call, bench.plan_folder)
        started, within = bench.now(), bench.time_left
        scope = asyncio.timeout(within)
        try:
            async with scope:
                result = await self._call(function, bench)
        except BenchrigError:
            raise
        except AssertionError as exc:
            raise StepFailed(f"{self.call}: {exc or 'assertion failed'}") from exc
        except (Exception, SystemExit) as exc:
            if scope.expired():
                raise StationError(f"{self.call} did not return within {within:.3g} s") from exc
            raise raised(self.call, exc, function) from exc
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")
        for name, value in _as_readings(result).items():
            self._report(bench, str(name), value)

    def _report(self, bench: Bench, name: str, value: Any) -> None:
        if value is None:
            bench.reading(name, None, why=f"{self.call} returned none")
        elif isinstance(value, Quantity):
            bench.reading(name, as_number(value.number), value.unit.symbol)
        else:
            bench.reading(name, _plain(value, f"{self.call} returned", name))

    async def _call(self, function: Callable[..., Any], bench: Bench) -> Any:
        if inspect.iscoroutinefunction(function):
            return await function(bench, **self.with_)
        with bench.outside():
            done = await in_thread(partial(function, bench, **self.with_))
        return done.result()


def _as_readings(result: Any) -> Mapping[Any, Any]:
    if result is None:
        return {}
    return result if isinstance(result, dict) else {"value": result}


def _plain(value: Any, returned: str, name: str) -> Any:
    """The value as readings have it; numbers of every kind are numbers. UsageError for what no limit could judge."""
    if isinstance(value, (bool, str, bytes, bytearray)) or value is None:
        return value
    if is_number(value) or isinstance(value, numbers.Integral):
        return as_number(exact(int(value) if isinstance(value, numbers.Integral) else value))
    if isinstance(value, (numbers.Real, Decimal)):
        return float(value)
    if isinstance(value, (list, tuple)):
        return [_plain(item, returned, name) for item in value]
    raise UsageError(
        f"{returned} {type(value).__name__} for '{name}'",
        advice="return a number, a Quantity, text, bytes, true or false, or a list of these",
    )
