"""Which measurement of a gauge study a run is."""

from __future__ import annotations

import msgspec


class StudyPart(msgspec.Struct, omit_defaults=True, frozen=True):
    """One cell of its design. That it was this unit says the serial number in the record, and not this."""

    study: str  # its id
    unit: str  # the serial number of the unit that was asked for
    appraiser: str  # the station or the person
    repeat: int  # of this unit by this appraiser, from 1
