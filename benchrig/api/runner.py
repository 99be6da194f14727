"""The runner of a run without a plan."""

from __future__ import annotations

from collections.abc import Mapping

from benchrig.api.walk import GrowingWalk
from benchrig.errors import BenchrigError
from benchrig.radio.device import DeviceSession
from benchrig.run.head import may_lack, run_started
from benchrig.run.runner import Runner


class GrowingRunner(Runner):
    """Of a run without a plan: its head names no step."""

    acknowledged_before = "by the caller"

    def _head(self) -> None:
        self.emit(run_started(self.plan, (), self.settings))

    def walk(self, devices: Mapping[str, DeviceSession]) -> GrowingWalk:
        """The way that its steps take."""
        self._devices = devices
        allowed = may_lack(self.plan, self.settings)
        return GrowingWalk(self.surroundings(), devices, self._control, self._outcome, None, allowed)

    def count(self, error: BenchrigError) -> None:
        """It ends the run; the record tells of it already."""
        self._outcome.fatal(error)
