"""The runner of a run without a plan."""

from __future__ import annotations

from collections.abc import Mapping

from benchrig.api.walk import GrowingWalk
from benchrig.errors import OperatorError
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.device import DeviceSession
from benchrig.run.head import may_lack, run_started
from benchrig.run.runner import Runner


class GrowingRunner(Runner):
    """Of a run without a plan: its head names no step."""

    def _head(self) -> None:
        self.emit(run_started(self.plan, (), self.settings, grows=True))

    def walk(self, devices: Mapping[str, DeviceSession]) -> GrowingWalk:
        """The way that its steps take."""
        self._devices = devices
        allowed = may_lack(self.plan, self.settings)
        return GrowingWalk(self.surroundings(), devices, self._control, self._outcome, None, allowed)

    def check_acknowledged(self, step: StepPlan, caution: str) -> None:
        """See that whoever writes has read the caution. OperatorError."""
        if caution and not self.settings.acknowledged and any(each.kind.writes for each in every_step([step])):
            raise OperatorError(
                f"'{step.name}' writes, and nobody acknowledged the caution: {caution}",
                advice="do what the caution says, and write open_radio(…, acknowledged=True)",
            )
