"""Where a line leaves what it does. What was simulated is never beside what is real."""

from __future__ import annotations

from pathlib import Path

from benchrig.radio.specify import RadioChoice
from benchrig.station.station import Station

REHEARSAL = "-rehearsal"


def is_simulated(station: Station) -> bool:
    """Whether any unit of it is: then it is a rehearsal."""
    if station.rehearsal is not None:
        return True
    named = {station.radio_of(slot).radio for slot in station.slot_names}
    return any(RadioChoice.parse(radio).simulated for radio in named if radio)


def results_of(station: Station, named: Path | None = None) -> Path:
    """The folder of its log and its runs; `named` stands in for that of the station file."""
    folder = named or Path(station.results or "results")
    return folder.with_name(f"{folder.name}{REHEARSAL}") if is_simulated(station) else folder
