"""Whatever passes the device passes its twin, and whoever looks at both finds what is listed."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.writing import device_text as text_of
from benchrig.source.problem import Problems
from benchrig.twin.writing import Twin
from tests.run.kit import SHIPPED, device_text, plan_text, run
from tests.twin.kit import bad_steps, differences, evidence_of, file_of, shipped, twin

ROOT = Path(__file__).parents[2]
# Plans that use a device as benches mostly do, one thing after the other. The plans that ship with these two leave no stone
# unturned: they ask between a command and what it changes later on, and a twin puts a change down to what came last.
OWN = {"transport_box": ("box_line", "box_night", "box_console"), "secure_logger": ("secure_line",)}
PAIR: dict[str, Any] = {"secure_logger": "keyboard"}
DEVICES = sorted(set(SHIPPED.values()))
QUICK = [
    device if device in ("sensor", "secure_logger") else pytest.param(device, marks=pytest.mark.slow)
    for device in DEVICES
]


def plans_of(device: str) -> list[Path]:
    own = [Path(__file__).parent / "plans" / f"{plan}.yaml" for plan in OWN.get(device, ())]
    return own or [file_of(plan) for plan, of in SHIPPED.items() if of == device]


@cache
def twin_of_shipped(device: str) -> Twin:
    return twin(shipped(device), plans_of(device), pair=PAIR.get(device))


@pytest.mark.parametrize(
    ("air", "seed"),
    [
        ("kind", 2),
        *(pytest.param(air, seed, marks=pytest.mark.slow) for air, seed in (("kind", 3), ("rough", 4), ("rough", 5))),
    ],
)
@pytest.mark.parametrize(
    "device",
    [pytest.param(device, marks=[pytest.mark.slow] * (device in ("logger", "transport_box"))) for device in DEVICES],
)
def test_the_plans_of_a_device_pass_its_twin(device: str, air: str, seed: int) -> None:
    made = twin_of_shipped(device).device
    for plan in plans_of(device):
        assert bad_steps(run(plan, made, air=air, seed=seed)) == {}, plan.stem


@pytest.mark.slow
@pytest.mark.parametrize("device", DEVICES)
def test_a_twin_of_rough_records_passes_too(device: str) -> None:
    plans = plans_of(device)
    made = twin(shipped(device), plans, pair=PAIR.get(device), air="rough", seed=7)
    for plan in plans:
        for seed in (1, 2):
            assert bad_steps(run(plan, made.device, air="rough", seed=seed)) == {}, plan.stem


@pytest.mark.parametrize("device", QUICK)
def test_an_inspection_finds_no_difference_but_values_that_move(device: str) -> None:
    found = differences(shipped(device), twin_of_shipped(device).device, PAIR.get(device))
    assert (found.added, found.removed, found.changed, found.advertising) == ([], [], [], [])
    assert {change.where for change in found.values} <= {"environmental sensing/temperature"}


@pytest.mark.parametrize(
    ("plan", "device"),
    [
        ("returned_unit", "returned_logger"),
        pytest.param("returned_box", "returned_transport_box", marks=pytest.mark.slow),
    ],
)
def test_a_broken_unit_has_a_broken_twin(plan: str, device: str) -> None:
    """What the plan finds at the unit it finds at the twin."""
    made = twin(shipped(device), [plan])
    assert differences(shipped(device), made.device).same_structure
    expected, found = (bad_steps(run(file_of(plan), one)) for one in (shipped(device), made.device))
    assert expected
    assert found == expected


def test_a_twin_of_the_same_is_the_same() -> None:
    one, other = (twin(shipped("sensor"), ["twelve_checks"]) for _ in range(2))
    assert one.text == other.text
    assert text_of(one.device) == text_of(other.device)


SHELF = """services:
  - service: battery service
    characteristics:
      - characteristic: battery level
        properties: [read]
        value: 90 %
        descriptors:
          - {descriptor: user description, value: Door, writable: true, write_needs: encrypted}
security: {capability: none}
"""
NAMED = """  - write: battery level/user description
    name: not by a stranger
    raw: '41'
    expect: {att_error: {equals: insufficient authentication}}
  - pair: none
  - write: battery level/user description
    raw: '42'
    read_back: true
"""


def test_a_descriptor_that_was_written_can_be_written_at_the_twin(tmp_path: Path) -> None:
    (plan := tmp_path / "plan.yaml").write_text(plan_text(NAMED), encoding="utf-8")
    (device := tmp_path / "device.yaml").write_text(device_text(SHELF), encoding="utf-8")
    made = twin(device, [plan])
    assert bad_steps(run(plan, made.device)) == bad_steps(run(plan, device)) == {}
    assert "writable: true" in made.text


def test_what_the_head_lists() -> None:
    made = twin_of_shipped("transport_box")
    told = "\n".join(made.unseen)
    for line in (
        "code: what a write does (nothing was written)",
        "control: what other writes do (9 were seen)",
        "answer: no value (not readable)",
        "pairing: nobody paired with it",
        "(nothing arrived while somebody listened)",
        "its handles",
    ):
        assert line in told
        assert line in made.text
    assert evidence_of(shipped("transport_box")).simulated
    assert "# The device was a simulated one." in made.text


UNITS = [*sorted((ROOT / "tests/requirements/units").glob("*.yaml")), ROOT / "tests/contract/devices.yaml"]
# these take no link, or end it at once: nothing of their tables can be seen
UNSEEN = ("deaf", "hanging up")


@pytest.mark.slow
@pytest.mark.parametrize("file", UNITS, ids=lambda file: file.parent.name + "/" + file.stem)
def test_the_twin_of_any_unit_has_its_structure(file: Path) -> None:
    for unit in load_devices([file], Problems()):
        if isinstance(unit, DeviceSpec) and unit.name not in UNSEEN:
            found = differences(unit, twin(unit).device)
            assert (found.added, found.removed, found.changed) == ([], [], []), unit.name
