"""Python tests beside the plans, on simulated devices: pytest testplans/test_logger.py"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import pytest

from benchrig import ConnectedLink, Quantity
from benchrig.testing import run_plan

PLANS = Path(__file__).parent
DEVICES = PLANS / "devices"


def test_a_sound_logger_passes() -> None:
    record = run_plan(PLANS / "smoke.yaml", DEVICES / "logger.yaml").record
    assert record.verdict == "pass", record.message
    assert record.reading("read battery level").quantity >= Quantity(20, "%")


def test_the_returned_logger_fails_for_what_is_wrong_with_it() -> None:
    record = run_plan(PLANS / "returned_unit.yaml", DEVICES / "returned_logger.yaml").record
    assert (record.verdict, record.cause) == ("fail", "limit")
    level = record.reading("read battery level")
    assert level.judgement is not None
    assert not level.judgement.passed
    assert level.quantity < Quantity(20, "%")


@pytest.mark.skipif(find_spec("pytest_asyncio") is None, reason="needs pytest-asyncio: pip install 'benchrig[pytest]'")
@pytest.mark.asyncio
@pytest.mark.benchrig(radio=f"virtual:{DEVICES / 'logger.yaml'}", unit="VFL-*")
async def test_the_battery_of_a_logger(benchrig_link: ConnectedLink) -> None:
    level = await benchrig_link.read("battery level", expect={"value": {"min": "20 %"}})
    assert level <= Quantity("100 %")
