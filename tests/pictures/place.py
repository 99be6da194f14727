"""Where the pictures are, and the day of all of them: what differs from one day and computer to the next is the same in each."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "testplans" / "pictures"
DAY = datetime(2026, 11, 27, 12, 30, tzinfo=UTC)
STATION = "line 2"


def stamp(moment: datetime) -> str:
    """As records write it."""
    return moment.strftime("%Y-%m-%dT%H:%M:%S.000Z")


def folder_stamp(moment: datetime) -> str:
    """As the names of folders begin."""
    return moment.strftime("%Y%m%dT%H%M%S")
