"""When a run began."""

from __future__ import annotations

import pytest

from benchrig.errors import UsageError
from benchrig.record.began import began


def test_a_zone_counts_and_without_one_it_is_utc() -> None:
    assert (
        began("2026-01-05T07:00:00.250+01:00") == began("2026-01-05T06:00:00.250Z") == began("2026-01-05T06:00:00.250")
    )


def test_a_start_that_is_no_moment_is_refused() -> None:
    with pytest.raises(UsageError, match="expected a date and a time as the start of the run, found 'yesterday'"):
        began("yesterday")
