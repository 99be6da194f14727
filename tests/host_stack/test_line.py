"""A line on the stack of Linux: four units at once on an adapter for each slot, and on one adapter for all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.host_stack.conftest import Boot
from tests.host_stack.line_cases import LAYOUTS, Case

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_unit_gets_its_own_word(boot: Boot, name: str) -> None:
    done = boot(f"python3 -m tests.host_stack.line_place out {name}\n", prelude=False, within=560)
    found = json.loads(done.text(f"{name}.json") or "{}")
    cases = [case for cases in LAYOUTS[name].rounds for case in cases]
    wrong = {case.name: found.get(case.name, "not done") for case in cases if not _is_right(case, found)}
    assert wrong == {}, done.text("job.err")[-2000:]
    assert found["exit code"] == 0


def _is_right(case: Case, found: dict[str, Any]) -> bool:
    if case.name not in found:
        return False
    if case.word == "refused":
        return found[case.name] is None
    told = found[case.name]
    came_to = (told["unit"], told["word"], told["cause"], told["again"])
    is_step = case.step is None or told["step"] == case.step
    return is_step and came_to == (case.label, case.word, case.cause, case.again) and _answered_itself(case, told)


def _answered_itself(case: Case, told: dict[str, Any]) -> bool:
    """Whoever was asked is what is in the slot: a verdict is that of nobody else."""
    inside = {f"M{unit.number}" for unit in case.inside}
    if case.word == "PASS":
        return set(told["marks"]) == inside
    return set(told["marks"]) <= inside


def test_there_are_cases_enough() -> None:
    names = [case.name for layout in LAYOUTS.values() for cases in layout.rounds for case in cases]
    assert len({*names}) == len(names) >= 20


def lock(number: int, faults: str = "") -> str:
    """A device file's part: a unit that wants to be paired with before it tells what it has."""
    return (
        f"  - device: lock {number}\n    address: 'C0:00:00:00:0E:0{number}'\n"
        f"    advertising: {{interval: 50 ms, data: {{flags: 0x06, name: lock {number}}}}}\n"
        f"    security: {{capability: display, passkey: '042517'{faults}}}\n"
        f"    services:\n      - service: {SERVICE}\n        characteristics:\n"
        f"          - {{characteristic: {GUARDED}, as: uint8, properties: [read], value: 8, read_needs: authenticated}}\n"
    )


SERVICE, GUARDED = "6b1d0401-9a53-4c86-8a3e-2f0f6c1d7e40", "6b1d0403-9a53-4c86-8a3e-2f0f6c1d7e40"
PAIRS = f"""
plan: units that are paired with
device: {{select: {{name: 'lock *'}}, attributes: {{guarded: {{uuid: {GUARDED}, as: uint8}}}}}}
caution: bonds are made
steps:
  - scan:
  - connect:
  - pair: keyboard
    passkey: '042517'
    within: 60 s
    expect: {{authenticated: {{equals: true}}, bonded: {{equals: true}}}}
  - {{read: guarded, expect: {{value: {{equals: 8}}}}}}
  - disconnect:
  - connect:
    name: with the bond
  - {{read: guarded, name: once more, expect: {{value: {{equals: 8}}}}}}
"""
LOCKS = [
    lock(1),
    lock(2),
    lock(3, ", faults: {silent_at: pairing request}"),
    lock(4, ", faults: {refuses: repeated attempts}"),
]


def test_units_are_paired_with_at_once_each_as_alone(boot: Boot, tmp_path: Path) -> None:
    (tmp_path / "locks.yaml").write_text("devices:\n" + "".join(LOCKS), encoding="utf-8")
    (tmp_path / "plan.yaml").write_text(PAIRS, encoding="utf-8")
    addresses = " ".join(f"C0:00:00:00:0E:0{number}" for number in range(1, 5))
    done = boot(f"python3 -m tests.line.lent host plan.yaml {addresses}\n", tmp_path / "locks.yaml", within=560)
    found = json.loads(done.text("job.out") or "{}")
    assert found["at once"] == found["alone"], done.text("job.err")[-2000:]
    assert [verdict for verdict, *_ in found["at once"]] == ["pass", "pass", "fail", "fail"]
