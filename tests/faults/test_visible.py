"""A plan with limits on everything sees each fault, and blames whom it may."""

from __future__ import annotations

from functools import cache

import pytest

from benchrig.escapes.trial import trial
from benchrig.faults.fault import Fault
from benchrig.faults.registry import faults_of
from benchrig.run.unattended import Unattended
from tests.faults.small import EVERYTHING, LIMITS, SMALL

FAMILIES = ("value", "table", "advertising")


@cache
def everything() -> list[Fault]:
    return faults_of(SMALL, families=FAMILIES, limits=LIMITS)


def wrong(fault: Fault) -> str:
    """What is wrong with the verdict on it; '' when it is caught, and the cause is right."""
    ended = trial(EVERYTHING, fault.scene(SMALL), Unattended()).ended
    assert ended is not None
    if ended.verdict == "pass":
        return f"{fault.name}: passed"
    return "" if ended.cause in fault.causes else f"{fault.name}: blamed on {ended.cause}: {ended.message}"


def test_the_sound_device_passes_whatever_was_made_of_it() -> None:
    ended = trial(EVERYTHING, SMALL, Unattended()).ended
    assert ended is not None
    assert (ended.verdict, ended.message) == ("pass", "")


@pytest.mark.parametrize("begin", range(2))
def test_some_faults_are_caught(begin: int) -> None:
    assert [found for fault in everything()[begin * 7 :: 75] if (found := wrong(fault))] == []


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_each_fault_is_caught() -> None:
    assert [found for fault in everything() if (found := wrong(fault))] == []
