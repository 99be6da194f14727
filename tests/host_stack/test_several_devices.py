"""A plan with two devices on the stack of Linux: both linked at once, a scan for one while the other is connected."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.record.journal import read_record
from tests.contract.test_several_devices import PLAN, written
from tests.host_stack.conftest import Boot
from tests.run.test_several_devices import KEY, LOCK

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]


def test_two_devices_on_the_stack_of_linux(boot: Boot, tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    job = f"python3 -m benchrig run {plan} --radio host -q --acknowledge --results out/results\ntrue\n"
    out = boot(job, *written(tmp_path, LOCK, KEY), within=280).out
    [path] = out.glob("results/*/record.jsonl")
    record = read_record(path)
    assert [step.ended.verdict for step in record.steps if step.ended] == ["pass"] * 7, record.ended
    assert {key: seen.name for key, seen in record.devices.items()} == {"lock": "unit 1", "key": "unit 2"}
