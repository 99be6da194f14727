"""What people type for a moment: dates, days in words, times ago."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from benchrig.cli.filtering import Moment
from benchrig.errors import UsageError


def day(moment: datetime) -> datetime:
    return moment.replace(hour=0, minute=0, second=0, microsecond=0)


def test_days_in_words_are_dates() -> None:
    today = day(datetime.now(UTC))
    assert Moment().read("yesterday") in (today - timedelta(days=1), today)  # midnight may come in between
    assert Moment(late=True).read("Today") - Moment().read("yesterday") == timedelta(days=2)
    week = [
        Moment().read(name) for name in ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    ]
    assert [moment.weekday() for moment in week] == [*range(7)]
    assert max(week) in (today, today + timedelta(days=1))
    assert max(week) - min(week) == timedelta(days=6)


@pytest.mark.parametrize(("text", "hours"), [("12h", 12), ("7d", 168), ("2 w", 336)])
def test_a_time_ago(text: str, hours: int) -> None:
    before = datetime.now(UTC)
    told = Moment(late=True).read(text) + timedelta(hours=hours)
    assert before <= told <= datetime.now(UTC)


def test_other_words_are_refused() -> None:
    with pytest.raises(UsageError, match="expected a date, or a date and a time, found 'last week'"):
        Moment().read("last week")
