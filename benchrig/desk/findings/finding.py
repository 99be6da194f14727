"""One thing that is wrong with a device."""

from __future__ import annotations

from typing import Literal, TypeAlias

import msgspec

Severity: TypeAlias = Literal["error", "warning", "note"]


class Finding(msgspec.Struct, frozen=True):
    """`rule` is the short name of what was broken, `where` the path of the attribute ('battery service/battery
    level'; 'advertising'; '' for the device as a whole). An error is what a standard forbids; a warning is what will
    mislead somebody; a note is what could not be judged, or is worth knowing. `source` names the standard."""

    rule: str
    severity: Severity
    where: str
    sentence: str
    source: str
