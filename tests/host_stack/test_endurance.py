"""Many runs in a row, and streams at full speed, on the real Linux stack: nothing fails that the unit did not cause."""

from __future__ import annotations

import pytest

from benchrig.record.journal import read_record
from tests.contract.radios import Ran
from tests.host_stack.conftest import Boot
from tests.host_stack.guest import HERE
from tests.host_stack.scenes import QUICK

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
DEVICES = HERE / "endurance.yaml"
BURST = """
plan: a burst of full packets
device:
  select: {name: full packets}
  attributes:
    samples: {uuid: 5e7d0002-3b7d-4a55-9c0e-7d1f5a2b8e10, fields: [{name: number, as: uint32}, {name: rest, as: hex, length: 240}]}
steps:
  - scan:
    for: 300 ms
  - connect:
  - notify: samples
    count: 1000
    within: 60 s
    counter: number
    expect: {count: {equals: 1000}, lost: {equals: 0}, duplicated: {equals: 0}, length: {equals: 244 bytes}}
"""


def repeated(boot: Boot, plan: str, times: int, *, work_counts: bool = False) -> list[Ran]:
    run = "python3 -m benchrig run plan.yaml --radio host -q --results out/results"
    job = f"cat > plan.yaml <<'END'\n{plan}END\nfor i in $(seq {times}); do {run}; done\n"
    done = boot(job, DEVICES, within=580, work_counts=work_counts)
    return [Ran(read_record(path)) for path in sorted(done.out.glob("results/*/record.jsonl"))]


def test_fifty_runs_in_a_row(boot: Boot) -> None:
    runs = repeated(boot, QUICK, 50)
    assert len(runs) == 50
    assert [ran.story() for ran in runs if ran.ended.exit_code] == []
    assert [note for ran in runs for note in ran.notes() if "left to" in note] == []


def test_ten_bursts_of_a_thousand_full_packets(boot: Boot) -> None:
    """Faster than the processor takes them: what is not lost has waited in somebody's queue."""
    runs = repeated(boot, BURST, 10, work_counts=True)
    assert len(runs) == 10
    assert [ran.story() for ran in runs if ran.ended.exit_code] == []
