"""What is wrong with a device, from its inspection alone: no radio, no clock.

rule.py           a rule, and a family of them
look.py           the inspection as rules look at it
brought.py        the families that other packages bring

and a file a family:

services.py       adopted services: what has to be in them, what must not (requirements.py: the table)
identifiers.py    UUIDs
declarations.py   properties and descriptors that belong together
access.py         what must be readable
pairing.py        how it pairs, and what it protects by that
values.py         lengths, reserved numbers, text, ranges
presentation.py   presentation formats
reports.py        reports of HID devices
database_hash.py  the hash of the table
advertising.py    payloads, and what they say beside the table
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from benchrig.desk.findings.finding import Finding, Severity

if TYPE_CHECKING:
    from benchrig.desk.findings.look import Look
    from benchrig.desk.findings.rule import Family
    from benchrig.desk.inspection import Inspection

__all__ = ["Finding", "Severity", "families", "findings"]

_ORDER = ("error", "warning", "note")


@cache
def families() -> list[Family]:
    """All rules, in the order in which findings are told."""
    from benchrig.desk.findings import (
        access,
        advertising,
        database_hash,
        declarations,
        identifiers,
        pairing,
        presentation,
        reports,
        services,
        values,
    )

    files = (
        services,
        identifiers,
        declarations,
        access,
        pairing,
        values,
        presentation,
        reports,
        database_hash,
        advertising,
    )
    return [file.FAMILY for file in files]


def findings(seen: Inspection) -> list[Finding]:
    """All that is wrong by benchrig's own rules, errors first, each kind family by family in the order of the table."""
    from benchrig.desk.findings.look import Look

    look = Look(seen)
    return in_order(look, [[each for rule in family.rules for each in rule.findings(look)] for family in families()])


def in_order(look: Look, found: list[list[Finding]]) -> list[Finding]:
    """The findings of several families."""
    whole = [each for family in found for each in sorted(family, key=lambda finding: look.order(finding.where))]
    return by_severity(whole)


def by_severity(found: list[Finding]) -> list[Finding]:
    return sorted(found, key=lambda finding: _ORDER.index(finding.severity))
