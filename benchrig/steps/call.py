"""call: a Python function with the bench in its hand."""

from __future__ import annotations

import asyncio
import importlib
import inspect
import sys
from collections.abc import Callable, Iterable, Mapping
from typing import Any, ClassVar

import msgspec

from benchrig.errors import BenchrigError, StationError, StepFailed
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import Names
from benchrig.steps.base import Step
from benchrig.steps.bench import Bench
from benchrig.values.limit import AnyValue
from benchrig.values.quantity import Quantity, as_number


class Call(Step, kw_only=True):
    """Call `module:function` with the bench and the arguments of `with`; what it returns are readings.

    It may return nothing, one value (the reading `value`) or a dict of readings; a value may be a Quantity. An
    ordinary function runs in a thread, an async one in the bench's loop. AssertionError and StepFailed fail the unit.
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
            yield Misfit(f"'{self.call}' is no 'module:function'", path=("call",))

    def readings(self, names: Names) -> None:
        return None

    async def run(self, bench: Bench) -> None:
        function = _load(self.call, str(bench.plan_folder))
        started = bench.now()
        try:
            result = await self._call(function, bench)
        except (BenchrigError, TimeoutError):
            raise
        except AssertionError as exc:
            raise StepFailed(f"{self.call}: {exc or 'assertion failed'}") from exc
        except Exception as exc:
            raise StationError(f"{self.call} raised {type(exc).__name__}: {exc}", advice="mend the function") from exc
        if bench.wanted("elapsed"):
            bench.reading("elapsed", bench.since(started), "s")
        for name, value in _as_readings(result).items():
            if isinstance(value, Quantity):
                bench.reading(name, as_number(value.number), value.unit.symbol)
            else:
                bench.reading(name, value)

    async def _call(self, function: Callable[..., Any], bench: Bench) -> Any:
        if inspect.iscoroutinefunction(function):
            return await function(bench, **self.with_)
        with bench.outside():
            return await asyncio.to_thread(function, bench, **self.with_)


def _load(name: str, folder: str) -> Callable[..., Any]:
    """The function, looked for beside the plan first."""
    module, _, attribute = name.partition(":")
    if folder not in sys.path:
        sys.path.insert(0, folder)
    try:
        function = getattr(importlib.import_module(module), attribute)
    except (ImportError, AttributeError) as exc:
        raise StationError(f"call {name}: {exc}", advice="put the module beside the plan, or install it") from exc
    if not callable(function):
        raise StationError(f"call {name}: '{attribute}' is no function")
    return function  # type: ignore[no-any-return]


def _as_readings(result: Any) -> Mapping[str, Any]:
    if result is None:
        return {}
    return result if isinstance(result, dict) else {"value": result}
