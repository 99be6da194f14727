"""What is wrong with a device, from its inspection alone: no radio, no clock.

services.py       adopted services: what has to be in them, what must not (requirements.py: the table)
identifiers.py    UUIDs
declarations.py   properties and descriptors that belong together
access.py         what must be readable
values.py         lengths, reserved numbers, ranges, text
presentation.py   presentation formats
reports.py        reports of HID devices
database_hash.py  the hash of the table
advertising.py    payloads, and what they say beside the table
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.desk.findings.finding import Finding, Severity

if TYPE_CHECKING:
    from benchrig.desk.inspection import Inspection

__all__ = ["Finding", "Severity", "findings"]

_ORDER = ("error", "warning", "note")


def findings(seen: Inspection) -> list[Finding]:
    """All that is wrong, errors first, each kind in the order of the families above."""
    from benchrig.desk.findings import (
        access,
        advertising,
        database_hash,
        declarations,
        identifiers,
        presentation,
        reports,
        services,
        values,
    )

    families = (services, identifiers, declarations, access, values, presentation, reports, database_hash, advertising)
    found = [finding for family in families for finding in family.judge(seen)]
    return sorted(found, key=lambda finding: _ORDER.index(finding.severity))
