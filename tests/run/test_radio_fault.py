"""The virtual radio fails: benchrig's own fault, and neither a pass nor a failure of the unit."""

from __future__ import annotations

import asyncio
import itertools
from typing import Any

import pytest

from benchrig.radio.link import Link
from benchrig.radio.virtual import Faults
from tests.run.kit import device_text, plan_text, run

DEVICE = device_text(
    """services:
  - service: battery
    characteristics:
      - {characteristic: battery level, properties: [read, notify], value: 90 %, notify: {period: 20 ms}}"""
)


def failing_at(number: int) -> Faults:
    """A simulation that has a fault in its code, met at this value."""
    count = itertools.count(1)

    def fate(pdu: Any) -> None:
        if pdu.att_opcode == 0x1B and next(count) == number:
            raise ZeroDivisionError("a fault of the simulation")

    return Faults(fate=fate)


@pytest.mark.parametrize("limit", ["count: {min: 10}", "count: {min: 200}", "value: {max: 50 %}"])
def test_a_fault_of_the_simulation_is_no_verdict_on_the_unit(limit: str) -> None:
    steps = f"  - notify: battery level\n    for: 2 s\n    expect: {{{limit}}}\n"
    ran = run(plan_text(steps), DEVICE, faults=failing_at(20))
    assert (ran.ended.exit_code, ran.ended.cause) == (3, "internal")
    assert "the virtual radio failed: ZeroDivisionError" in ran.ended.message
    assert len(ran.stray) == 1  # who attends the loop hears of it when it happens


def test_without_a_fault_it_passes() -> None:
    steps = "  - notify: battery level\n    for: 2 s\n    expect: {count: {min: 10}}\n"
    assert run(plan_text(steps), DEVICE, faults=failing_at(0)).ended.exit_code == 0


def test_work_that_was_cancelled_by_nobody_has_a_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    """A future of a radio's library that is cancelled must not take the run with it, whose record would have no end."""

    async def cancelled(*_: Any, **__: Any) -> bytes:
        raise asyncio.CancelledError

    monkeypatch.setattr(Link, "read", cancelled)
    ran = run(
        plan_text("  - read: battery level\n    expect: {value: {max: 95 %}}\nfinally:\n  - disconnect:\n"), DEVICE
    )
    assert (ran.ended.exit_code, ran.ended.cause, ran.verdicts()[-1]) == (3, "internal", "pass")
