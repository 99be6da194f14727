"""The runner of a run without a plan."""

from __future__ import annotations

from collections.abc import Mapping

from benchrig.api.walk import GrowingWalk
from benchrig.errors import BenchrigError
from benchrig.loop import outside
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.device import DeviceSession
from benchrig.record.model import Noted
from benchrig.run.head import may_lack, run_started
from benchrig.run.runner import Runner


class GrowingRunner(Runner):
    """Of a run without a plan: its head names no step."""

    _is_acknowledged = False

    def _head(self) -> None:
        self.emit(run_started(self.plan, (), self.settings, grows=True))

    def walk(self, devices: Mapping[str, DeviceSession]) -> GrowingWalk:
        """The way that its steps take."""
        self._devices = devices
        allowed = may_lack(self.plan, self.settings)
        return GrowingWalk(self.surroundings(), devices, self._control, self._outcome, None, allowed)

    def count(self, error: BenchrigError) -> None:
        """It ends the run; the record tells of it already."""
        self._outcome.fatal(error)

    async def acknowledge(self, step: StepPlan) -> None:
        """Before the first write: see that whoever runs this has read the caution. OperatorError."""
        caution = self.plan.caution
        if not caution or self._is_acknowledged or not any(each.kind.writes for each in every_step([step])):
            return
        if self.settings.acknowledged:
            by = "by the caller"
        else:
            with outside():
                by = await self.operator.acknowledge(caution)
        self._is_acknowledged = True
        self.emit(Noted(self._clock.at, f"caution acknowledged {by}: {caution}"))
