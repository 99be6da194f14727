"""The context of a composite step: that of a step, with the steps in it and no deadline of its own."""

from __future__ import annotations

from collections.abc import Coroutine
from typing import Any, TypeVar

from benchrig.errors import OperatorError
from benchrig.run.context import StepContext
from benchrig.run.control import GRACE, Control
from benchrig.run.inside import Inside

T = TypeVar("T")


class CompositeContext(StepContext):
    """Its action is not ended from outside, as what it does is: the steps in it, and what it does by `own`."""

    def __init__(self, inside: Inside, control: Control, *more: Any) -> None:
        super().__init__(*more)
        self.inside = inside
        self.leave_out = self.readings.leave_out
        self._control = control

    async def own(self, work: Coroutine[Any, Any, T], seconds: float) -> T:
        if self._control.is_stopped:
            work.close()
            raise OperatorError("interrupted")
        whole = self._deadline
        self._deadline = min(whole, self.now() + seconds)
        try:
            return await self._control.guarded(self._deadline + GRACE, work)
        finally:
            self._deadline = whole
