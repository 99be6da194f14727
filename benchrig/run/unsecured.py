"""What a step cannot do since a pairing, or an encryption, before it has failed: it is left out for that one."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchrig.errors import BenchrigError, NotProven, NotSecured, WantsPairing
from benchrig.plan.tree import StepPlan
from benchrig.record.events import Closed, Where
from benchrig.run.leaving import ENDED
from benchrig.steps.base import Cap


@dataclass
class Unsecured:
    """By device, the step that was to pair or encrypt last, and did not; with it a sentence."""

    _failed: dict[str, tuple[Where, str]] = field(default_factory=dict)

    @property
    def roots(self) -> set[Where]:
        return {root for root, _ in self._failed.values()}

    def note(self, plan: StepPlan, event: Closed) -> None:
        if event.allowed or not (plan.kind.encrypts or Cap.BOND in plan.kind.gives):
            return
        if event.verdict == "pass":
            self._failed.pop(plan.device, None)
        else:
            where = event.where
            self._failed[plan.device] = event.root or where, f"step {where.label} {plan.name} {ENDED[event.verdict]}"

    def explained(self, device: str, error: BenchrigError | None) -> BenchrigError | None:
        """The error of a step; what a bond would have spared it is no fault of the station, or of the unit once more."""
        if device not in self._failed:
            return error
        root, said = self._failed[device]
        if isinstance(error, WantsPairing):
            message = f"the device wants a paired link (ATT error 0x{error.code:02X}, {error.name}), and {said}"
            return NotSecured(message, root, advice="see why that step failed")
        if isinstance(error, NotProven):
            message = f"{error.message}, since {said}"
            return NotSecured(message, root, advice="give its identity key as key: in device: select:")
        return error
