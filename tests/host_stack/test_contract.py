"""The contract suite and the shipped plans on the real Linux stack."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.record.journal import read_record
from tests.contract.compare import differences
from tests.contract.radios import DEVICES, RADIO_ALONE, Ran, run_on
from tests.host_stack.conftest import Boot
from tests.host_stack.guest import PROJECT, PYTEST
from tests.run.kit import DEVICES as UNITS
from tests.run.kit import PLANS, SHIPPED

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]
# bleak keeps one connection to the bus for each event loop, and nobody may close it; a process of benchrig has one loop
LENIENT = "-W ignore::pytest.PytestUnraisableExceptionWarning"


def test_the_contract_suite_passes_on_the_host_radio(boot: Boot) -> None:
    suite = "tests/contract/test_cases.py tests/contract/test_offers.py tests/contract/test_two_units.py"
    job = f"out=$PWD/out; cd {PROJECT}; {PYTEST} {suite} --radio host {LENIENT} > $out/pytest.txt 2>&1\n"
    done = boot(job, DEVICES, within=580)
    assert done.code == 0, done.text("pytest.txt")[-6000:]
    assert "skipped" not in done.text("pytest.txt").splitlines()[-1]


@pytest.mark.parametrize(
    "name", ["end_of_line", "nightly_regression", "box_end_of_line", "box_nightly", "returned_box"]
)
def test_the_shipped_plans_end_as_on_the_virtual_radio(name: str, boot: Boot, tmp_path: Path) -> None:
    plan, given = PLANS / f"{name}.yaml", RADIO_ALONE.get(name, {})
    values = " ".join(f"--set {key}='{value}'" for key, value in given.items())
    job = f"python3 -m benchrig run {plan} --radio host -q --acknowledge --results out/{name} {values}\n"
    device = UNITS / f"{SHIPPED[name]}.yaml"
    done = boot(job, device, within=400)
    [path] = done.out.glob(f"{name}/*/record.jsonl")
    on_host = Ran(read_record(path))
    assert on_host.ended.exit_code == 0, on_host.story()
    on_air = run_on(f"virtual:{device}", plan, tmp_path, given)
    assert differences(on_air.record, on_host.record) == []
