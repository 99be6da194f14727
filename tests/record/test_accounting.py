"""A run whose limits and verdicts do not add up is told."""

from __future__ import annotations

from benchrig.record.accounting import unaccounted
from benchrig.record.aggregate import build_record
from benchrig.record.model import Closed, RunEnded, Where
from tests.record.examples import opened, run_started


def test_a_pass_with_a_step_that_failed() -> None:
    closed = Closed(Where("1"), 1.0, 1.0, "fail", "device", "it refused")
    record = build_record([run_started(), opened(), closed, RunEnded(1.0, "pass", 0, 0)])
    assert unaccounted(record) == ["the run passed, but a step came to fail"]


def test_a_limit_without_a_fate() -> None:
    record = build_record([run_started(), opened(), Closed(Where("1"), 1.0, 1.0, "pass"), RunEnded(1.0, "pass", 0, 1)])
    assert unaccounted(record) == ["the verdict counts 1 judged and 0 not judged, the steps 0 and 0"]
