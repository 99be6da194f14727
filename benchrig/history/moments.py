"""Moments as a history keeps them, in whole microseconds since 1970, UTC; and as people read them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def micros(moment: datetime) -> int:
    return (moment - _EPOCH) // _MICROSECOND


def moment_of(micros: int) -> datetime:
    return _EPOCH + micros * _MICROSECOND


def moment_text(moment: datetime) -> str:
    """To the second, in UTC: '2026-11-27 18:40:00'."""
    return moment.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S")
