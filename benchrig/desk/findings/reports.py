"""HID reports: which properties each type of report has (HID Service, 2.5)."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family
from benchrig.desk.findings.services import JUDGED
from benchrig.desk.inspection import CharacteristicSeen
from benchrig.values.catalogue import long_uuid

FAMILY = Family("reports")

HID, REPORT, REPORT_REFERENCE = long_uuid(0x1812), long_uuid(0x2A4D), 0x2908
# type of report: properties that it must have
_MUST = {
    "input": ("read", "notify"),
    "output": ("read", "write", "write without response"),
    "feature": ("read", "write"),
}
_MAY = {"input": ("write",)}


@FAMILY.rule("error", "HID Service")
def report_properties(look: Look) -> Iterator[Broken]:
    """The properties of a HID report are not those of its type."""
    for standing, report in look.characteristics():
        if report.uuid == REPORT and standing.service.uuid == HID:
            kind = _type(report)
            if kind in _MUST and (wrong := _wrong(kind, report.properties)):
                yield Broken(standing.path, wrong)


def _type(report: CharacteristicSeen) -> str:
    reference = report.descriptor(REPORT_REFERENCE)
    value = reference.content.value if reference is not None and reference.content is not None else None
    return str(value.get("report_type", "")) if isinstance(value, dict) else ""


def _wrong(kind: str, properties: list[str]) -> str:
    missing = [one for one in _MUST[kind] if one not in properties]
    excluded = [one for one in properties if one in JUDGED and one not in (*_MUST[kind], *_MAY.get(kind, ()))]
    parts = [f"lacks {' and '.join(missing)}"] if missing else []
    parts += [f"must not have {' and '.join(excluded)}"] if excluded else []
    return f"a report of the type {kind} {' and '.join(parts)}" if parts else ""
