"""When a run began, as its record says it."""

from __future__ import annotations

from datetime import UTC, datetime

from benchrig.errors import UsageError


def began(started: str) -> datetime:
    """UTC where it names no zone. UsageError."""
    try:
        moment = datetime.fromisoformat(started)
    except ValueError as error:
        raise UsageError(f"expected a date and a time as the start of the run, found '{started[:40]}'") from error
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
