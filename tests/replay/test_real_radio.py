"""The twin of a run on a controller of its own: real time, HCI over TCP, and the capture of that."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.kit import here
from tests.contract.radios import air_on_tcp
from tests.run.faults import NAMES, SERVICES
from tests.run.kit import device_text, plan_text

pytestmark = pytest.mark.slow
STEPS = "".join(
    f"  - {step}\n"
    for step in (
        "read: battery level\n    expect: {value: {min: 50 %}}",
        "exchange: command\n    raw: '01'\n    within: 2 s\n    on_fail: continue",
        "notify: skips\n    for: 1 s\n    counter: value\n    expect: {lost: {equals: 0}}",
        "write: leave\n    value: 1",
    )
)


def test_the_plan_fails_alike_on_the_twin(tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(device_text(SERVICES), "utf-8")
    (tmp_path / "plan.yaml").write_text(plan_text(STEPS, attributes=NAMES), "utf-8")
    with air_on_tcp(tmp_path / "unit.yaml") as radio:
        ran = here("run", "plan.yaml", "--radio", radio, "--capture", "c.btsnoop", cwd=tmp_path)
    assert ran.returncode == 1, ran.stdout + ran.stderr
    [folder] = [each.parent for each in tmp_path.glob("results/*/record.jsonl")]
    for options in (("--with", "c.btsnoop", "-o", "twin.yaml"), ("-o", "alone.yaml")):
        done = here("twin", "--of", folder, "--check", *options, cwd=tmp_path)
        assert done.returncode == 0, done.stdout + done.stderr + (tmp_path / options[-1]).read_text("utf-8")
