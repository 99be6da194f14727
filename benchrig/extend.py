"""What a package works with that brings step kinds, reports or rules, beside the names of `benchrig`. These names stay, and
what the reference says of them.

They are imported when they are asked for, so that a report costs no more than it needs.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from benchrig.desk.findings.look import Look
    from benchrig.desk.findings.rule import Broken, Family
    from benchrig.record.model import Record
    from benchrig.report.registry import Report
    from benchrig.source.shape import Misfit
    from benchrig.steps.attribute import AttributeName, Names
    from benchrig.steps.base import NOTHING, SECONDS, Cap, ReadingType
    from benchrig.steps.brought import BroughtStep as Step
    from benchrig.values.quantity import Duration

_HOMES = {
    "AttributeName": "benchrig.steps.attribute",
    "Broken": "benchrig.desk.findings.rule",
    "Cap": "benchrig.steps.base",
    "Duration": "benchrig.values.quantity",
    "Family": "benchrig.desk.findings.rule",
    "Look": "benchrig.desk.findings.look",
    "Misfit": "benchrig.source.shape",
    "NOTHING": "benchrig.steps.base",
    "Names": "benchrig.steps.attribute",
    "ReadingType": "benchrig.steps.base",
    "Record": "benchrig.record.model",
    "Report": "benchrig.report.registry",
    "SECONDS": "benchrig.steps.base",
    "Step": "benchrig.steps.brought",
}

__all__ = [
    "NOTHING",
    "SECONDS",
    "AttributeName",
    "Broken",
    "Cap",
    "Duration",
    "Family",
    "Look",
    "Misfit",
    "Names",
    "ReadingType",
    "Record",
    "Report",
    "Step",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'benchrig.extend' has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), "BroughtStep" if name == "Step" else name)
