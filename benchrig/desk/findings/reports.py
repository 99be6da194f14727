"""HID reports: which properties each type of report has (HID Service, 2.5)."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.requirements import CharacteristicRule
from benchrig.desk.findings.rule import Broken, Family
from benchrig.desk.inspection import CharacteristicSeen
from benchrig.values.catalogue import long_uuid

FAMILY = Family("reports")

HID, REPORT, REPORT_REFERENCE = long_uuid(0x1812), long_uuid(0x2A4D), 0x2908
_TYPES = {
    "input": CharacteristicRule(must=["read", "notify"], may=["write"]),
    "output": CharacteristicRule(must=["read", "write", "write without response"]),
    "feature": CharacteristicRule(must=["read", "write"]),
}


@FAMILY.rule("error", "HID Service")
def report_properties(look: Look) -> Iterator[Broken]:
    """The properties of a HID report are not those of its type."""
    for standing, report in look.characteristics():
        if report.uuid == REPORT and standing.service.uuid == HID:
            kind = _type(report)
            if kind in _TYPES and (wrong := _wrong(kind, report.properties)):
                yield Broken(standing.path, wrong)


def _type(report: CharacteristicSeen) -> str:
    reference = report.descriptor(REPORT_REFERENCE)
    value = reference.content.value if reference is not None and reference.content is not None else None
    return str(value.get("report_type", "")) if isinstance(value, dict) else ""


def _wrong(kind: str, properties: list[str]) -> str:
    rule = _TYPES[kind]
    missing, excluded = rule.missing(properties), rule.excluded(properties)
    parts = [f"lacks {missing}"] * bool(missing) + [f"must not have {excluded}"] * bool(excluded)
    return f"a report of the type {kind} {' and '.join(parts)}" if parts else ""
