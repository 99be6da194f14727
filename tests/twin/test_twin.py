"""Whatever passes the device passes its twin, and whoever looks at both finds what is listed."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.writing import device_text
from benchrig.source.problem import Problems
from benchrig.twin.writing import Twin
from tests.run.kit import SHIPPED, run
from tests.twin.kit import bad_steps, differences, evidence_of, file_of, shipped, twin

ROOT = Path(__file__).parents[2]
PAIR: dict[str, Any] = {"secure_logger": "keyboard"}
DEVICES = sorted(set(SHIPPED.values()))
QUICK = [
    device if device in ("sensor", "secure_logger") else pytest.param(device, marks=pytest.mark.slow)
    for device in DEVICES
]


@cache
def twin_of_shipped(device: str) -> Twin:
    plans = [plan for plan, of in SHIPPED.items() if of == device]
    return twin(shipped(device), plans, pair=PAIR.get(device))


@pytest.mark.parametrize(
    ("air", "seed"),
    [
        ("kind", 2),
        *(pytest.param(air, seed, marks=pytest.mark.slow) for air, seed in (("kind", 3), ("rough", 4), ("rough", 5))),
    ],
)
@pytest.mark.parametrize(
    "device", [device if device != "logger" else pytest.param(device, marks=pytest.mark.slow) for device in DEVICES]
)
def test_the_plans_of_a_device_pass_its_twin(device: str, air: str, seed: int) -> None:
    made = twin_of_shipped(device).device
    for plan in (plan for plan, of in SHIPPED.items() if of == device):
        assert bad_steps(run(file_of(plan), made, air=air, seed=seed)) == {}, plan


@pytest.mark.slow
@pytest.mark.parametrize("device", DEVICES)
def test_a_twin_of_rough_records_passes_too(device: str) -> None:
    plans = [plan for plan, of in SHIPPED.items() if of == device]
    made = twin(shipped(device), plans, pair=PAIR.get(device), air="rough", seed=7)
    for plan in plans:
        for seed in (1, 2):
            assert bad_steps(run(file_of(plan), made.device, air="rough", seed=seed)) == {}, plan


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
    assert device_text(one.device) == device_text(other.device)


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
