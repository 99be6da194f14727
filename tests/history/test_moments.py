"""Moments to the microsecond, and as people read them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from benchrig.history.moments import micros, moment_of, moment_text

EAST = timezone(timedelta(hours=2))


@pytest.mark.parametrize("microsecond", [0, 1, 249_999, 999_999])
def test_no_microsecond_is_lost(microsecond: int) -> None:
    for moment in (
        datetime(1969, 12, 31, 23, 59, 59, microsecond, UTC),
        datetime(2100, 1, 1, 0, 0, 0, microsecond, EAST),
    ):
        assert moment_of(micros(moment)) == moment
    assert micros(datetime(1970, 1, 1, 0, 0, 1, microsecond, UTC)) == 1_000_000 + microsecond


def test_people_read_utc() -> None:
    assert moment_text(datetime(2026, 11, 27, 20, 40, 0, 999_999, EAST)) == "2026-11-27 18:40:00"
