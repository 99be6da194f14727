"""What is judged is what was heard and read, not what Linux remembers of a unit or adds to it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.host_stack.conftest import Shell
from tests.host_stack.guest import HERE

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
UNITS = HERE / "units.yaml"
OWN = "5e7f00{}-3b7d-4a55-9c0e-7d1f5a2b8e10"
SELECT = "device: {select: {name: ADV-7}}\nsteps:\n"
ADVERTISED = f"""plan: what it advertises
{SELECT}  - scan:
    for: 1 s
    expect: {{services: {{equals: [environmental sensing]}}, name: {{equals: ADV-7}}}}
  - connect:
  - read: handle 0x0008
    expect: {{value: {{equals: 97 %}}}}
  - disconnect:
    expect: {{advertises_after: {{max: 1 s}}}}
  - scan:
    for: 1 s
    expect: {{services: {{length: 1}}}}
  - connect:
    expect: {{elapsed: {{max: 5 s}}}}
"""
NOT_ADVERTISED = f"""plan: what its table has
{SELECT}  - scan:
    expect: {{services: {{contains: battery}}}}
"""
SELECTED = ADVERTISED.replace("{name: ADV-7}}\n", "{services: [battery]}}\n").replace("within: 30 s", "within: 2 s")
NEW_TABLE = f"""plan: the table of the new firmware
device: {{select: {{name: updated}}}}
steps:
  - connect:
  - discover:
    expect: {{table: {{{OWN.format(10)}: {{{OWN.format(21)}: [write without response], {OWN.format(22)}: [read]}}}}}}
  - read: {OWN.format(22)}
    expect: {{raw: {{equals: '02'}}}}
"""
UPDATE = f"benchrig write {OWN.format(11)} --raw 01 --acknowledge -d updated --radio host"


def plan(name: str) -> str:
    return f"benchrig run {name}.yaml --radio host -q --results results"


def test_a_unit_is_judged_by_what_it_sends_however_often_it_was_connected(shell: Shell, tmp_path: Path) -> None:
    plans = {"advertised": ADVERTISED, "not": NOT_ADVERTISED, "selected": SELECTED, "new": NEW_TABLE}
    for name, text in plans.items():
        (tmp_path / f"{name}.yaml").write_text(text)
    first, lacking, again, still, selected, old, _, compared, new, interval = shell(
        plan("advertised"),
        plan("not"),
        plan("advertised"),
        plan("not"),
        plan("selected"),
        "benchrig inspect -d updated --save old.json --radio host",
        f"{UPDATE}; sleep 3",
        "benchrig inspect -d updated --against old.json --radio host",
        plan("new"),
        "benchrig scan --for 25s -d ADV-7 --json --radio host",
        devices=[UNITS],
        within=280,
    )
    assert (first.code, again.code) == (0, 0), first.out + again.out
    assert (lacking.code, still.code) == (1, 1), lacking.out + still.out
    assert (selected.code, "was not heard" in selected.out) == (1, True), selected.out
    assert old.code == 0, old.err
    assert (compared.code, "differ" in compared.out) == (1, True), compared.out
    assert new.code == 0, new.out
    assert json.loads(interval.out)["advertising"].get("interval") is None, interval.out


def test_what_linux_hides_and_does_is_not_the_units_fault(shell: Shell, tmp_path: Path) -> None:
    hidden = f"""plan: generic access
{SELECT}  - connect:
  - discover:
    expect: {{table: {{generic access: {{device name: [read]}}}}}}
  - read: battery level/client characteristic configuration
    expect: {{raw: {{equals: '00 00'}}}}
  - disconnect:
    expect: {{elapsed: {{max: 1 ms}}}}
"""
    (tmp_path / "hidden.yaml").write_text(hidden)
    run, name, golden, same, table = shell(
        plan("hidden"),
        "benchrig read 'device name' -d ADV-7 --radio host",
        f"benchrig inspect -d ADV-7 --radio virtual:{UNITS} --save golden.json",
        "benchrig inspect -d ADV-7 --radio host --against golden.json",
        "benchrig inspect -d ADV-7 --radio host --json --fresh",
        devices=[UNITS],
        within=200,
    )
    assert (run.code, "0 broken, 3 not judged" in run.out) == (5, True), run.out
    assert (name.code, "does not show 'device name'" in name.err) == (7, True), name.err
    assert golden.code == 0, golden.err
    assert (same.code, "moved" in same.out) == (0, False), same.out
    assert table.code == 0, table.err
    handles = {one["name"]: one["handle"] for one in _characteristics(json.loads(table.out))}
    assert handles == {one["name"]: one["handle"] for one in _characteristics(_of(tmp_path)) if one["name"] in handles}


def _of(folder: Path) -> dict[str, object]:
    document: dict[str, object] = json.loads((folder / "golden.json").read_text())
    return document


def _characteristics(document: dict[str, object]) -> list[dict[str, object]]:
    inspection = document.get("inspection", document)
    assert isinstance(inspection, dict)
    return [each for service in inspection["services"] for each in service["characteristics"]]


def test_a_paired_unit_is_selected_by_its_address_and_its_name_is_not_judged(shell: Shell, tmp_path: Path) -> None:
    by_name = "plan: paired\ndevice: {select: {name: guarded}}\nsteps:\n  - scan:\n    within: 4 s\n"
    by_address = "plan: paired\ndevice: {select: {address: 'C0:00:00:00:0D:02'}}\nsteps:\n  - scan:\n"
    by_address += f"    expect: {{name: {{equals: nobody}}}}\n  - connect:\n  - read: {OWN.format('02')}\n"
    (tmp_path / "name.yaml").write_text(by_name)
    (tmp_path / "address.yaml").write_text(by_address)
    paired, name, address = shell(
        "(echo agent NoInputNoOutput; echo default-agent; echo scan on; sleep 4; echo scan off; "
        "echo pair C0:00:00:00:0D:02; sleep 8; echo disconnect; sleep 4; echo quit) | bluetoothctl; bluetoothctl devices Paired",
        plan("name"),
        "benchrig run address.yaml --radio host --results results",
        devices=[UNITS],
        within=200,
    )
    assert "Device C0:00:00:00:0D:02" in paired.out.splitlines()[-1], paired.out[-2000:]
    assert (name.code, "neither selects it" in name.out) == (7, True), name.out
    assert "Linux is paired with the unit" in address.out, address.out
    assert "name is not judged: Linux is paired with guarded" in address.out, address.out
    assert address.code == 5, address.out


def test_a_drafted_plan_passes_on_the_next_morning(shell: Shell, tmp_path: Path) -> None:
    """In a guest other than the one it was drafted in: nothing is remembered there."""
    logger = HERE.parents[1] / "testplans" / "devices" / "logger.yaml"
    [draft] = shell("benchrig draft -o draft.yaml --radio host", devices=[logger], within=250)
    assert draft.code == 0, draft.err
    assert "services: [environmental sensing]" in (tmp_path / "draft.yaml").read_text()
    [run] = shell("benchrig run draft.yaml --radio host --results results", devices=[logger], within=250)
    assert run.code == 0, run.out
