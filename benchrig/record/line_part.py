"""What a run was at a line."""

from __future__ import annotations

from typing import Literal, TypeAlias

import msgspec

# A unit for the first time; again with nothing done to it; after a repair; the two kinds of units that check the station; only the
# clean-up of a run that was cut off.
Purpose: TypeAlias = Literal["unit", "retest", "repaired", "golden", "known bad", "clean-up"]
# Those that say nothing of how good the units are that are made.
OF_THE_STATION: tuple[Purpose, ...] = ("golden", "known bad", "clean-up")


class LinePart(msgspec.Struct, omit_defaults=True, frozen=True):
    """Of one run: the shift, who was on it, the product of the barcode, the slot and how the unit was proven to be in it."""

    shift: str  # its id
    person: str
    product: str
    slot: str
    proof: str = ""
    purpose: Purpose = "unit"
    reference: str = ""  # the name of the unit that checks the station
    first: str = ""  # the id of the first run of this unit, where this is another one
    again: int = 0  # how many runs of it were before
