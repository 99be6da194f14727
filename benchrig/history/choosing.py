"""Which history counts: that of the option, else of the station file, else of the environment, else the file in the results."""

from __future__ import annotations

import os
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.history.place import FILE, Place, has_password, place_of

VARIABLE = "BENCHRIG_HISTORY"


def chosen_place(option: str | None, station: str | None, results: Path) -> Place | None:
    """None where no history is named, and none is in the results. `station` is `history:` of the station file. UsageError."""
    if option and has_password(option):
        raise UsageError(
            "--history has a password, which everybody on this computer can see in the list of processes",
            advice=f"leave it out, and set PGPASSWORD, or write it into ~/.pgpass, {VARIABLE} or the station file",
        )
    named = option or station or os.environ.get(VARIABLE)
    if named:
        return place_of(named)
    file = results / FILE
    return Place(str(file), file) if file.exists() else None


def named_place(option: str | None, station: str | None, results: Path) -> Place:
    """The same for who needs one. UsageError."""
    place = chosen_place(option, station, results)
    if place is None:
        raise UsageError(
            f"there is no history: {results / FILE} does not exist, and no other one is named",
            advice=f"make it with: benchrig history rebuild {results}; or name one with --history",
        )
    return place
