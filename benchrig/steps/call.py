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
from benchrig.steps.base import NOTHING, Cap, Step
from benchrig.steps.bench import Bench
from benchrig.steps.function import load_function, raised
from benchrig.threads import in_thread
from benchrig.values.limit_keys import AnyValue
from benchrig.values.quantity import Quantity, as_number, exact, is_number

# Bounds of what a function may return.
_DEEPEST, _MOST_DIGITS = 16, 1000


class Call(Step, kw_only=True):
    """Call `module:function` with the bench and the arguments of `with`; what it returns are readings.

    It may return nothing, one value (the reading `value`) or a dict of readings; a value may be a Quantity. An
    ordinary function runs in a thread, an async one in the bench's loop. AssertionError and StepFailed fail the unit,
    StationError says that the bench cannot test; any other exception is a mistake in the function, so in the plan.
    """

    verb: ClassVar[str] = "call"
    needs: ClassVar[frozenset[Cap]] = NOTHING
    readings_are_foreign: ClassVar[bool] = True
    executes: ClassVar[bool] = True
    within_default: ClassVar[float] = 60.0

    call: str
    with_: dict[str, AnyValue] = msgspec.field(name="with", default_factory=dict)

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
        started = bench.now()
        with _Lent(bench) as lent:
            result = await self._result(function, lent)
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")
        for name, value in _as_readings(result).items():
            self._report(bench, str(name), value)

    async def _result(self, function: Callable[..., Any], bench: Any) -> Any:
        within, task = bench.time_left, asyncio.current_task()
        assert task is not None
        scope, asked = asyncio.timeout(within), task.cancelling()
        try:
            async with scope:
                return await self._call(function, bench)
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

    def _report(self, bench: Bench, name: str, value: Any) -> None:
        if value is None:
            bench.reading(name, None, why=f"{self.call} returned none")
        elif isinstance(value, Quantity):
            bench.reading(name, as_number(value.number), value.unit.symbol)
        else:
            bench.reading(name, _plain(value, f"{self.call} returned", name))

    async def _call(self, function: Callable[..., Any], bench: Any) -> Any:
        if inspect.iscoroutinefunction(function):
            return await function(bench, **self.with_)
        with bench.outside():
            done = await in_thread(partial(function, bench, **self.with_))
        return done.result()


class _Lent:
    """The bench in the hand of a function, for as long as its step lasts: what the function leaves running must not give
    readings of a later step."""

    def __init__(self, bench: Bench) -> None:
        self._lent, self._over = bench, False

    def __enter__(self) -> _Lent:
        return self

    def __exit__(self, *_: object) -> None:
        self._over = True

    def __getattr__(self, name: str) -> Any:
        if self._over:
            raise UsageError("the step that this bench was lent to is over", advice="return when all is done")
        return getattr(self._lent, name)


def _as_readings(result: Any) -> Mapping[Any, Any]:
    if result is None:
        return {}
    return result if isinstance(result, dict) else {"value": result}


def _is_huge(value: Any) -> bool:
    """Whether the number would be written with more digits than anything reads."""
    if isinstance(value, Decimal):
        return abs(value.adjusted()) > _MOST_DIGITS
    parts = (value.numerator, value.denominator) if isinstance(value, numbers.Rational) else ()
    return any(int(part).bit_length() > _MOST_DIGITS * 3 for part in parts)


def _plain(value: Any, returned: str, name: str, deep: int = 0) -> Any:
    """The value as readings have it; numbers of every kind are numbers. UsageError for what no limit could judge."""
    if deep > _DEEPEST:
        raise UsageError(f"{returned} lists in lists for '{name}', deeper than {_DEEPEST}")
    if isinstance(value, (bool, str, bytes, bytearray)) or value is None:
        return value
    if is_number(value) or isinstance(value, numbers.Integral):
        if _is_huge(value):
            raise UsageError(f"{returned} a number of more than {_MOST_DIGITS} digits for '{name}'")
        return as_number(exact(int(value) if isinstance(value, numbers.Integral) else value))
    if isinstance(value, (numbers.Real, Decimal)):
        return float(value)
    if isinstance(value, (list, tuple)):
        return [_plain(item, returned, name, deep + 1) for item in value]
    raise UsageError(
        f"{returned} {type(value).__name__} for '{name}'",
        advice="return a number, a Quantity, text, bytes, true or false, or a list of these",
    )
