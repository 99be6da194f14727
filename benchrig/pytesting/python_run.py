"""The run behind a Python test: its radio, what ended the test, and what the record says when it is over.

A test has one radio and one record. A step that failed and that nothing tolerates is an error of the test when it passed.
"""

from __future__ import annotations

import asyncio
import contextlib
import inspect
from collections.abc import Awaitable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import pytest

from benchrig import sync
from benchrig.api.opening import RadioContext
from benchrig.api.place import asked_at, calling_place
from benchrig.api.radio import OpenedRadio
from benchrig.errors import BenchrigError, UsageError
from benchrig.pytesting.telling import failure_text, marks, top
from benchrig.pytesting.wishes import Wish
from benchrig.record.model import Record
from benchrig.report import whole
from benchrig.source.shape import Misfit
from benchrig.tasks import Tasks
from benchrig.values.quantity import Quantity, is_number

_KEY = pytest.StashKey["PythonRun"]()
# What a test that a signal has ended may take to find its way out.
_OUT_WITHIN = 30.0
_TOLERATING = "write 'with link.tolerating():' around what is meant to fail"


class Untold(BenchrigError):
    """A test passed, and its record did not."""

    def __init__(self, record: Record, lines: list[str], *, is_forgotten: bool) -> None:
        self.cause = record.cause or "internal"
        said = lines or [whole.reason(record) or whole.verdict_line(record)]
        advice = "write await in front of record_reading(…)" if is_forgotten else _TOLERATING if lines else ""
        super().__init__("\n".join(["the test passed, but its record did not", *said]), advice=advice)


@dataclass
class PythonRun:
    """Of one test. `fixture` opened the radio. `ended_by` is what the test raised, once it has."""

    item: pytest.Item
    fixture: str
    wish: Wish
    context: RadioContext
    radio: OpenedRadio | sync.OpenedRadio | None = None
    ended_by: BaseException | None = None
    # whether the test has come to its end, and whether pytest has told that it failed
    has_ended: bool = False
    is_told: bool = False
    is_over: bool = False
    # The step of a test that passed: it has judged with asserts of its own, and its record shall not say that nothing was judged.
    verdict: dict[str, Any] = field(
        default_factory=lambda: {
            "subject": {"passed": True},
            "name": "the test",
            "expect": {"passed": {"equals": True}},
        }
    )
    _pending: list[_Pending] = field(default_factory=list)
    _tasks: Tasks = field(default_factory=Tasks)

    @classmethod
    def begun(cls, request: pytest.FixtureRequest, fixture: str) -> PythonRun:
        """UsageError where another fixture of the test has a radio already."""
        item = request.node
        if (other := item.stash.get(_KEY, None)) is not None and not other.is_over:
            raise UsageError(
                f"{other.fixture} and {fixture} both open the radio '{other.wish.choice}' for this test",
                advice="use the fixtures of one form: all of them end in _sync, or none",
            )
        wish = Wish.of(item, getattr(request, "param", None))
        with asked_at(wish.place):
            context = wish.opened()
        run = item.stash[_KEY] = cls(item, fixture, wish, context)
        return run

    # --- the end

    def hear(self, excinfo: pytest.ExceptionInfo[BaseException] | None, when: str) -> None:
        """How a phase of the test ended."""
        self.has_ended |= when == "call"
        if excinfo is not None:
            self.is_told, self.has_ended = True, True
            self.ended_by = self.ended_by or excinfo.value

    @property
    def ending(self) -> tuple[Any, Any, Any]:
        """What a context is left with. A test that never came to its end was interrupted."""
        error = self.ended_by if self.has_ended else KeyboardInterrupt()
        if isinstance(error, pytest.skip.Exception):
            error = None
        elif isinstance(error, pytest.fail.Exception):
            error = AssertionError(str(error))
        return (None, None, None) if error is None else (type(error), error, error.__traceback__)

    async def settled(self) -> None:
        """A test that was ended in the midst (by a time-out of its own) is not at work any more, and no reading is on its way."""
        code = inspect.unwrap(getattr(self.item, "function", _nobody)).__code__
        left = [each for each in asyncio.all_tasks() if getattr(each.get_coro(), "cr_code", None) is code]
        for task in left:
            task.cancel()
        if waited := [*left, *(each.task for each in self._pending)]:
            await asyncio.wait(waited, timeout=_OUT_WITHIN)
        for reading in self._pending:
            reading.settle()

    def check(self) -> None:
        """See that no failure is left which nobody has told. Untold."""
        self.is_over = True
        record = self.record
        if record is None or self.is_told or not self.has_ended or record.verdict == "pass":
            return  # who interrupts a test knows that
        self.is_told = True
        steps = [each.planned.id for each in record.steps if each.ended is not None and each.ended.counts_as != "pass"]
        lines = [line for node in dict.fromkeys(map(top, steps)) for line in failure_text(record, node)]
        raise Untold(record, lines, is_forgotten=any(each.has_failed and not each.is_awaited for each in self._pending))

    # --- what is told

    @property
    def record(self) -> Record | None:
        return self.radio.record if self.radio is not None else None

    @property
    def marks(self) -> list[str]:
        """Of each failure of the test."""
        folder = self.radio.folder if self.radio is not None else None
        return marks(simulated=self.wish.choice.simulated, folder=folder)

    # --- readings of the test's own

    @property
    def passed(self) -> bool:
        return self.has_ended and self.ended_by is None

    @contextlib.contextmanager
    def telling(self) -> Iterator[None]:
        """Around the step `verdict`: what keeps it from being done is on record, and the radio is closed nevertheless."""
        with asked_at(self.wish.place), contextlib.suppress(BenchrigError):
            yield

    def record_reading(self, name: str, value: object, unit: str, limit: object) -> Awaitable[None]:
        keys = {"name": name, "expect": None if limit is None else {name: limit}}
        subject, radio = {name: _with_unit(value, unit)}, self.radio
        if isinstance(radio, sync.OpenedRadio):
            radio.step("compute", subject, **keys)
            return _Recorded()
        if radio is None:
            raise UsageError("no radio is open", advice="call record_reading inside the test")
        with asked_at(calling_place()):
            task = self._tasks.start(_recorded(radio, subject, keys))
        self._pending.append(pending := _Pending(task))
        return pending


def run_of(item: pytest.Item) -> PythonRun | None:
    return item.stash.get(_KEY, None)


def _nobody() -> None:
    pass


async def _recorded(radio: OpenedRadio, subject: Mapping[str, object], keys: Mapping[str, object]) -> None:
    await radio.step("compute", subject, **keys)


class _Pending(Awaitable[None]):
    """A reading on its way to the record, whether anybody waits for it or not."""

    def __init__(self, task: asyncio.Task[None]) -> None:
        self.task = task
        self.is_awaited = self.has_failed = False

    def __await__(self) -> Any:
        self.is_awaited = True
        return self.task.__await__()

    def settle(self) -> None:
        """Whoever did not wait for it need not hear of it: the record has it."""
        if self.task.done() and not self.task.cancelled():
            self.has_failed = self.task.exception() is not None


class _Recorded(Awaitable[None]):
    """It is on record already."""

    def __await__(self) -> Any:
        return iter(())


def _with_unit(value: object, unit: str) -> object:
    if not unit:
        return value
    if not is_number(value):
        raise UsageError(f"expected a number of {unit}, found {value!r}", advice="leave out the unit, or give a number")
    try:
        return Quantity(value, unit)  # type: ignore[arg-type]
    except (Misfit, BenchrigError) as error:
        raise UsageError(f"unit '{unit}': {error}") from error
