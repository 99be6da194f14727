"""What is wrong with a device, from its inspection alone: no radio, no clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.desk.findings.finding import Finding, Severity

if TYPE_CHECKING:
    from benchrig.desk.inspection import Inspection

__all__ = ["Finding", "Severity", "findings"]


def findings(seen: Inspection) -> list[Finding]:
    """All that is wrong, in the order of the rules."""
    return []
