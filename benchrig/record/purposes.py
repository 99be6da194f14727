"""What a run may be for at a line, and what is said of it. Imports nothing: options of commands have these words."""

from __future__ import annotations

PURPOSES = ("unit", "retest", "repaired", "golden", "known bad", "clean-up")
# Of a unit that had a first result before.
AGAIN = ("retest", "repaired")
# Those that say nothing of the units that are made: they check the station, or put a unit in order. What such a run is called.
OF_THE_STATION = {"golden": "golden unit", "known bad": "known-bad unit", "clean-up": "clean-up"}
