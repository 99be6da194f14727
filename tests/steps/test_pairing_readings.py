"""Who is to blame for a pairing that failed, and what a limit on its failure means."""

from __future__ import annotations

import pytest

from benchrig.errors import DeviceError, StepFailed
from benchrig.radio.security import DEBUG_KEY, ENCRYPTION, HIDDEN, INVALID_KEY, LINK_LOST, REASONS, TIMEOUT, Paired
from benchrig.steps.pairing_readings import error_of, judges
from benchrig.values.limit import ReadingLimit

NOT_NONE = ReadingLimit(differs="none")


@pytest.mark.parametrize("reason", [0x06, 0x08, 0x0A])
def test_what_is_against_the_protocol_is_the_device(reason: int) -> None:
    assert isinstance(error_of(Paired(REASONS[reason], "bench")), DeviceError)


@pytest.mark.parametrize("reason", [0x02, 0x03, 0x04, 0x0B, 0x0C])
def test_what_the_bench_refuses_by_the_plan_is_a_limit(reason: int) -> None:
    assert isinstance(error_of(Paired(REASONS[reason], "bench")), StepFailed)


@pytest.mark.parametrize("failure", [TIMEOUT, ENCRYPTION, DEBUG_KEY, INVALID_KEY, LINK_LOST])
def test_what_is_no_refusal_has_to_be_named(failure: str) -> None:
    assert not judges(NOT_NONE, failure)
    assert not judges(None, failure)
    assert judges(ReadingLimit(one_of=["confirm value failed", failure]), failure)
    assert judges(ReadingLimit(equals=failure), failure)
    # a limit that it does not satisfy fails by it; a link that is lost is no matter of limits
    assert judges(ReadingLimit(equals="confirm value failed"), failure) == (failure != LINK_LOST)


@pytest.mark.parametrize("failure", [*REASONS.values(), HIDDEN, "none"])
def test_any_refusal_is_one(failure: str) -> None:
    assert judges(NOT_NONE, failure)
