"""The fixtures, a plugin of pytest of its own. What is behind them is loaded by the first test that takes one.

All of them live as long as one test: a test has one radio, one air and one record, and comes to the same alone, in any order,
and beside others. On a real radio workers take turns, a test at a time.
"""

from __future__ import annotations

import contextlib
import importlib
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from typing import TYPE_CHECKING, Any, Protocol

import pytest

if TYPE_CHECKING:
    from benchrig import sync
    from benchrig.api.link import ConnectedLink
    from benchrig.api.radio import OpenedRadio
    from benchrig.api.unit import FoundUnit
    from benchrig.pytesting.python_run import PythonRun

_fixture: Any = None
with contextlib.suppress(ImportError):
    _fixture = importlib.import_module("pytest_asyncio").fixture


class RecordReading(Protocol):
    """Puts a reading on record, held against a limit: LimitFailed where it does not satisfy that. In an async test it is
    awaited."""

    def __call__(self, name: str, value: object, unit: str = "", limit: object = None) -> Awaitable[None]: ...


def _async_fixture(function: Callable[..., AsyncIterator[Any]]) -> Any:
    if _fixture is not None:
        return _fixture(loop_scope="function")(function)

    def lacking() -> None:
        from benchrig.errors import UsageError

        raise UsageError(f"{function.__name__} needs pytest-asyncio", advice="pip install 'benchrig[pytest]'")

    return pytest.fixture(name=function.__name__)(lacking)


@_async_fixture
async def benchrig_radio(request: pytest.FixtureRequest) -> AsyncIterator[OpenedRadio]:
    """An open radio, for an async test; the run has the name of the test."""
    from benchrig.api.place import asked_at
    from benchrig.pytesting.in_loop import check_loop

    run = _begun(request, "benchrig_radio")
    check_loop(run, request)
    with asked_at(run.wish.place):
        run.radio = radio = await run.context.__aenter__()
    yield radio
    await run.settled()
    if run.passed:
        with run.telling():
            await radio.step("compute", **run.verdict)
    await run.context.__aexit__(*run.ending)
    run.check()


@_async_fixture
async def benchrig_unit(request: pytest.FixtureRequest, benchrig_radio: OpenedRadio) -> AsyncIterator[FoundUnit]:
    """The unit that the marker, the parameter or the plan of names tells, found."""
    from benchrig.api.place import asked_at

    run = _run(request)
    select = run.wish.select(run.context, getattr(request, "param", None))
    with asked_at(run.wish.place):
        unit = await benchrig_radio.find(select)
    yield unit


@_async_fixture
async def benchrig_link(request: pytest.FixtureRequest, benchrig_unit: FoundUnit) -> AsyncIterator[ConnectedLink]:
    """A link to that unit; it is ended behind the test. Its parameter has keys of connect."""
    from benchrig.api.place import asked_at

    run = _run(request)
    with asked_at(run.wish.place):
        context = benchrig_unit.connect(**getattr(request, "param", None) or {})
        link = await context.__aenter__()
    yield link
    await run.settled()
    try:
        await context.__aexit__(*run.ending)
    except BaseException:
        run.is_told = True
        raise


@pytest.fixture
def benchrig_radio_sync(request: pytest.FixtureRequest) -> Iterator[sync.OpenedRadio]:
    """An open radio, for a test without async."""
    from benchrig.api.place import asked_at
    from benchrig.sync import over_thread

    run = _begun(request, "benchrig_radio_sync")
    context = over_thread(run.context, real_time=run.wish.real_time)
    with asked_at(run.wish.place):
        run.radio = radio = context.__enter__()
    yield radio
    if run.passed:
        with run.telling():
            radio.step("compute", **run.verdict)
    context.__exit__(*run.ending)
    run.check()


@pytest.fixture
def benchrig_unit_sync(request: pytest.FixtureRequest, benchrig_radio_sync: sync.OpenedRadio) -> sync.FoundUnit:
    """The unit that the marker, the parameter or the plan of names tells, found."""
    from benchrig.api.place import asked_at

    run = _run(request)
    select = run.wish.select(run.context, getattr(request, "param", None))
    with asked_at(run.wish.place):
        return benchrig_radio_sync.find(select)


@pytest.fixture
def benchrig_link_sync(
    request: pytest.FixtureRequest, benchrig_unit_sync: sync.FoundUnit
) -> Iterator[sync.ConnectedLink]:
    """A link to that unit; it is ended behind the test. Its parameter has keys of connect."""
    from benchrig.api.place import asked_at

    run = _run(request)
    with asked_at(run.wish.place):
        context = benchrig_unit_sync.connect(**getattr(request, "param", None) or {})
        link = context.__enter__()
    yield link
    try:
        context.__exit__(*run.ending)
    except BaseException:
        run.is_told = True
        raise


@pytest.fixture
def record_reading(request: pytest.FixtureRequest) -> RecordReading:
    """Puts a reading of the test into its record, judged as readings of steps are."""

    def recorded(name: str, value: object, unit: str = "", limit: object = None) -> Awaitable[None]:
        from benchrig.errors import UsageError
        from benchrig.pytesting.python_run import run_of

        run = run_of(request.node)
        if run is None:
            advice = "take benchrig_radio, benchrig_unit or benchrig_link beside it, or their form that ends in _sync"
            raise UsageError("record_reading: this test has no record, for it has no radio", advice=advice)
        return run.record_reading(name, value, unit, limit)

    return recorded


def _begun(request: pytest.FixtureRequest, fixture: str) -> PythonRun:
    from benchrig.pytesting.python_run import PythonRun

    return PythonRun.begun(request, fixture)


def _run(request: pytest.FixtureRequest) -> PythonRun:
    from benchrig.pytesting.python_run import run_of

    run = run_of(request.node)
    assert run is not None
    return run
