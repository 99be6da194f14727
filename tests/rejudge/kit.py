"""A run on simulated devices, and its record judged again by a plan as text."""

from __future__ import annotations

from pathlib import Path

from benchrig.record.model import Record
from benchrig.rejudge.given import PlanForRuns
from benchrig.rejudge.record import Rejudged, rejudge
from tests.run.kit import device_text
from tests.scratch import scratch

LEVEL = "{characteristic: battery level, properties: [read], value: 50 %}"
TEMPERATURE = "{characteristic: temperature, properties: [read, notify], value: {sequence: [20 °C, 21 °C, 22 °C]}, notify: {period: 200 ms}}"
UNIT = device_text(
    "services:\n"
    f"  - {{service: battery, characteristics: [{LEVEL}]}}\n"
    f"  - {{service: environmental sensing, characteristics: [{TEMPERATURE}]}}\n"
)


def again(record: Record, plan: str | Path, limits: str | None = None) -> Rejudged:
    """The record by this plan, and by this limit set."""
    with scratch() as folder:
        path, of_set = folder / "plan.yaml", folder / "set.yaml"
        if isinstance(plan, str):
            path.write_text(plan, encoding="utf-8")
        if limits is not None:
            of_set.write_text(limits, encoding="utf-8")
        plans = PlanForRuns(plan if isinstance(plan, Path) else path, of_set if limits is not None else None)
        return rejudge(record, plans.of(record.run))


def why(found: Rejudged) -> list[tuple[str, str, str]]:
    """What nobody can say: step, reading and reason."""
    return [(each.step, each.reading, each.why) for each in found.unknown]
