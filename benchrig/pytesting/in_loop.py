"""Whether an async fixture can live in the loop of its test."""

from __future__ import annotations

import asyncio
import inspect

import pytest

from benchrig.errors import UsageError
from benchrig.pytesting.python_run import PythonRun
from benchrig.radio.virtual.clock import VirtualLoop


def check_loop(run: PythonRun, request: pytest.FixtureRequest) -> None:
    """UsageError where the test is not async, has a loop of a wider scope, or a clock that its radio does not have."""
    if not inspect.iscoroutinefunction(inspect.unwrap(request.function)):
        advice = "write 'async def', or take benchrig_radio_sync, benchrig_unit_sync, benchrig_link_sync"
        raise UsageError("benchrig_radio is for async tests, and this one is none", advice=advice)
    mark = request.node.get_closest_marker("asyncio")
    scope = mark.kwargs.get("loop_scope") if mark is not None else None
    scope = scope or request.config.getini("asyncio_default_test_loop_scope")
    if scope != "function":
        advice = "write @pytest.mark.asyncio(loop_scope='function') at the test"
        raise UsageError(
            f"the radio lives in the loop of one test, and the loop of this one is that of its {scope}", advice=advice
        )
    if isinstance(asyncio.get_running_loop(), VirtualLoop) and not run.wish.choice.simulated:
        raise UsageError("the clock of the loop is virtual, and the radio is real", advice="take an ordinary loop")
