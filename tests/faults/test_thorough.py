"""A thorough plan sees what goes wrong with streams, writes, answers, links and firmware, and whom it blames is at fault; on a
bench that is at fault no unit is to blame."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from benchrig.errors import Cause
from benchrig.escapes.trial import trial
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.registry import fault_named, faults_of
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.run.unattended import Unattended
from tests.faults.small import HERE, scene_of
from tests.run.kit import DEVICES, PLANS

THOROUGH = load_plan(HERE / "thorough.yaml", {})
BUSY = scene_of(HERE / "busy.yaml")
FAMILIES = ("stream", "write", "exchange", "link", "firmware")
# One value in a hundred takes a longer look.
UNSEEN = {"log: 1 % lost"}
AT_BENCH = faults_of(BUSY, families=["bench"])
# The bench is slow, or crowded, or is pulled out when all is over: the unit is sound, and the run passes.
HARMLESS = {"bench: host slow", "bench: foreign units"}


def blamed(plan: Plan, scene: Scene) -> Cause | None:
    """None for a run that passed."""
    ended = trial(plan, scene, Unattended()).ended
    assert ended is not None
    assert (ended.cause is None) is (ended.verdict == "pass")
    return ended.cause


@cache
def everything() -> list[Fault]:
    return [fault for fault in faults_of(BUSY, families=FAMILIES) if fault.name not in UNSEEN]


def wrong(fault: Fault, sound: Scene = BUSY, plan: Plan = THOROUGH) -> str:
    """What is wrong with the verdict; '' when it is caught with a right cause."""
    cause = blamed(plan, fault.scene(sound))
    return "" if cause in fault.causes else f"{fault.name}: {cause or 'passed'}"


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_the_sound_device_passes(air: str) -> None:
    assert blamed(THOROUGH, replace(BUSY, air=air)) is None


def test_some_faults_are_caught() -> None:
    assert [found for fault in everything()[::60] if (found := wrong(fault))] == []


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.parametrize("begin", range(8))
def test_each_fault_is_caught(begin: int) -> None:
    """In pieces, for all processors."""
    assert [found for fault in everything()[begin::8] if (found := wrong(fault))] == []


@pytest.mark.slow
def test_what_is_unseen_is_known() -> None:
    assert [blamed(THOROUGH, fault_named(BUSY, name).scene(BUSY)) for name in UNSEEN] == [None] * len(UNSEEN)


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize("fault", AT_BENCH, ids=lambda fault: fault.name)
def test_a_bench_at_fault_is_never_put_on_the_unit(fault: Fault, air: str) -> None:
    cause = blamed(THOROUGH, fault.scene(replace(BUSY, air=air)))
    assert cause is None if fault.name in HARMLESS else cause in ("link", "station")


def test_an_adapter_that_is_gone_before_a_scan(tmp_path: Path) -> None:
    """Nothing is under way then."""
    file = tmp_path / "plan.yaml"
    file.write_text("plan: p\ndevice: {select: {name: BSY-*}}\nsteps:\n  - wait: 1 s\n  - scan:\n", "utf-8")
    assert blamed(load_plan(file, {}), fault_named(BUSY, "bench: adapter gone after 0.5 s").scene(BUSY)) == "station"


SECURE = scene_of(DEVICES / "secure_logger.yaml")
SECURE_PLAN = load_plan(PLANS / "secure_end_of_line.yaml", {})
# What the shipped plan has steps for
CAUGHT = [
    "security: none", "temperature: read_needs nothing", "passkey: not checked", "passkey: always 123456",
    "passkey: not shown", "pairing: legacy taken", "pairing: just works", "pairing: short keys taken", "pairing: fails",
    "pairing: refused", "pairing: no answer", "bonds: none kept", "bonds: forgotten at each restart",
    "bonds: kept after deletion",
]  # fmt: skip


@pytest.mark.slow
def test_some_faults_of_security_are_caught() -> None:
    some = [fault_named(SECURE, name) for name in CAUGHT[::4]]
    assert [found for fault in some if (found := wrong(fault, SECURE, SECURE_PLAN))] == []


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.parametrize("begin", range(2))
def test_a_fault_of_security_is_put_on_the_device(begin: int) -> None:
    passed = []
    for fault in faults_of(SECURE, families=["security"])[begin::2]:
        cause = blamed(SECURE_PLAN, fault.scene(SECURE))
        assert cause is None or cause in fault.causes, fault.name
        passed += [fault.name] if cause is None else []
    assert {*CAUGHT}.isdisjoint(passed)


def test_a_device_without_security_has_none_to_lose() -> None:
    assert faults_of(BUSY, families=["security"]) == []
    assert len(faults_of(SECURE, families=["security"])) > 40
