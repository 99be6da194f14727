"""Which history counts: that of the option, else of the station file, else of the environment, else the file in the results."""

from __future__ import annotations

import os
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.history.place import FILE, Place, has_password, place_of

VARIABLE = "BENCHRIG_HISTORY"


def chosen_place(option: str | None, station: str | None, results: Path) -> Place | None:
    """None where no history is named, and none is in the results. `station` is `history:` of the station file. UsageError."""
    check_open(option or "")
    named = option or station or os.environ.get(VARIABLE)
    if named:
        return place_of(named)
    file = results / FILE
    return Place(str(file), file) if file.exists() else None


def named_place(option: str | None, station: str | None, results: Path) -> Place:
    """As `chosen_place`, for a command that is nothing without a history. UsageError where there is none."""
    place = chosen_place(option, station, results)
    if place is None:
        raise UsageError(
            f"there is no history: {results / FILE} does not exist, and no other one is named",
            advice=f"make it with: benchrig history rebuild {results}; or name one with --history",
        )
    return place


def check_open(option: str) -> None:
    """UsageError for a password in words that others can read."""
    if has_password(option):
        raise UsageError(
            "the history is named with a password, which others can read in a call, a script or the list of processes",
            advice=f"leave it out, and set PGPASSWORD, or write it into ~/.pgpass, {VARIABLE} or the station file",
        )


def wanted(history: str | Path | None, results: str | Path | None) -> str:
    """What `history=` of a run in Python says, as an option; '' for nothing. UsageError."""
    if history and results is None:
        raise UsageError("history: a run that leaves no record comes into none", advice="name a folder with results=")
    return str(history or "")


def seen_from(option: str, base: Path) -> str:
    """The same words, with a file seen from this folder. UsageError."""
    check_open(option)
    place = place_of(option) if option else None
    return str(base / place.file) if place is not None and place.file is not None else option
