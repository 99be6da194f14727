"""Python tests beside the plans, on simulated devices: pytest testplans/test_logger.py"""

from __future__ import annotations

from pathlib import Path

from benchrig import Quantity
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
