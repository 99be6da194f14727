"""Interruptions of a run, and the time that its work still has."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Iterator
from typing import TypeVar

from benchrig.errors import OperatorError, StepTimeout
from benchrig.radio.deadlines import Deadlines
from benchrig.run.ending import internal

# What a step may take beyond its own deadline, which says better what is wrong; for steps that ignore it.
GRACE = 0.5
# Sums of times are this exact.
INSTANT = 1e-6
# What a request on its way may still take after an interruption; cancelling it would cost the link that finally needs.
REQUEST_WITHIN = 1.0
# What finally steps may take together after an interruption.
FINALLY_WITHIN = 10.0
CLEAN_UP_OVER = f"the {FINALLY_WITHIN:g} s that the clean-up has after an interruption ran out"

T = TypeVar("T")


class Control:
    """The first interruption ends the steps and bounds the clean-up, the second ends that too."""

    def __init__(self) -> None:
        self.interrupts = 0
        self.cleaning = False
        # when the clean-up has to be over, on the loop's clock
        self.clean_by: float | None = None
        self._deadlines = Deadlines()

    @property
    def is_stopped(self) -> bool:
        """Whether the steps of this section are not to go on: the first interruption leaves the clean-up alone."""
        return self.interrupts > self.cleaning

    def clean_up(self) -> None:
        """From here on the steps are those of finally."""
        self.cleaning = True
        self._bound_clean_up()

    @contextlib.contextmanager
    def cleaning_up(self) -> Iterator[None]:
        """While these steps are at work, in the midst of the others."""
        before = self.cleaning
        self.clean_up()
        try:
            yield
        finally:
            self.cleaning = before

    def interrupt(self, *, busy: bool) -> None:
        """`busy`: a request to the unit is on its way."""
        self.interrupts += 1
        self._bound_clean_up()
        end = asyncio.get_running_loop().time() + self._still_granted(busy)
        self._deadlines.end_by(end)

    def close(self) -> None:
        """The last step is over."""
        self._deadlines.close()

    def _still_granted(self, busy: bool) -> float:
        """What the work at hand may take after an interruption: the clean-up goes on, a request gets its answer."""
        if self.is_stopped:
            return REQUEST_WITHIN if self.interrupts == 1 and busy else 0.0
        return FINALLY_WITHIN

    def _bound_clean_up(self) -> None:
        if self.cleaning and self.interrupts and self.clean_by is None:
            self.clean_by = asyncio.get_running_loop().time() + FINALLY_WITHIN

    async def guarded(self, deadline: float, work: Awaitable[T]) -> T:
        """Do the work, but end it at the deadline (StepTimeout) or at an interruption (OperatorError)."""
        scope = asyncio.timeout(None)
        try:
            async with scope:
                self._deadlines.add(scope, deadline)
                try:
                    return await work
                finally:
                    self._deadlines.discard(scope)
        except asyncio.CancelledError as exc:
            task = asyncio.current_task()
            if task is None or task.cancelling():
                raise
            # not this run was ended but something that it waited for: without a verdict nobody would know
            raise internal(exc) from exc
        except TimeoutError as exc:
            if not scope.expired():
                raise
            if self.is_stopped:
                raise OperatorError("interrupted") from None
            if self.clean_by is not None and asyncio.get_running_loop().time() > self.clean_by - INSTANT:
                raise OperatorError(CLEAN_UP_OVER) from None
            raise StepTimeout("the step did not end within its time") from exc
