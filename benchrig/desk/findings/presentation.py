"""Presentation formats (2904): what they may say, and that they say what the characteristic's definition says."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from benchrig.desk.findings.finding import Finding
from benchrig.desk.inspection import DescriptorSeen, Inspection
from benchrig.desk.paths import Standing, standings
from benchrig.errors import MalformedValue
from benchrig.values import catalogue
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid
from benchrig.values.numbers import IntegerFormat
from benchrig.values.structs import ListFormat, StructFormat
from benchrig.values.text import BytesFormat

PRESENTATION, BATTERY_LEVEL = long_uuid(0x2904), long_uuid(0x2A19)
BLUETOOTH_SIG = 1
FIRST_UNIT, LAST_UNIT = 0x2700, 0x27FF

_CORE = "Core specification Vol 3 Part G 3.3.3.5"
_ASSIGNED = "Bluetooth SIG assigned numbers, 2026"


def judge(seen: Inspection) -> Iterator[Finding]:
    batteries: dict[bytes, str] = {}
    for standing in standings(seen):
        part = standing.seen
        if not isinstance(part, DescriptorSeen) or part.uuid != PRESENTATION or part.content is None:
            continue
        data = part.content.data
        if len(data) == 7:  # another length is a finding of the values
            yield from _format(standing, data)
        # name space and description tell batteries apart
        twin = batteries.setdefault(data[4:], standing.path) if _of_battery(standing) else standing.path
        if twin != standing.path:
            sentence = f"it has the name space and description of {twin}, so nobody can tell the batteries apart"
            yield Finding("batteries-alike", "error", standing.path, sentence, "Battery Service 1.0, 3.1.2.1")


def _of_battery(standing: Standing) -> bool:
    return standing.within is not None and standing.within.seen.uuid == BATTERY_LEVEL


def _format(standing: Standing, data: bytes) -> Iterator[Finding]:
    try:
        said = catalogue.format_from_presentation(data)
    except MalformedValue as error:
        yield Finding("presentation-reserved", "error", standing.path, error.message, _ASSIGNED)
        return
    unit, namespace = int.from_bytes(data[2:4], "little"), data[4]
    if namespace != BLUETOOTH_SIG:
        sentence = f"the name space 0x{namespace:02X} is reserved; 0x01 is assigned"
        yield Finding("presentation-reserved", "error", standing.path, sentence, _ASSIGNED)
    if not FIRST_UNIT <= unit <= LAST_UNIT:
        sentence = f"the unit 0x{unit:04X} is no unit: these are 0x2700 to 0x27FF, 0x2700 for none"
        yield Finding("presentation-reserved", "error", standing.path, sentence, _ASSIGNED)
    if data[1] and not isinstance(said, IntegerFormat):
        sentence = (
            f"an exponent of {int.from_bytes(data[1:2], signed=True)} with {said.describe()}; only integers have one"
        )
        yield Finding("presentation-exponent", "error", standing.path, sentence, f"{_CORE}.3")
    assert standing.within is not None
    defined = catalogue.definition(standing.within.seen.uuid)
    if defined is not None and (unlike := _differences(said, defined, unit)):
        yield Finding("presentation-contradicts", "error", standing.path, unlike, "GATT Specification Supplement")


def _differences(said: Format, defined: Format, unit: int) -> str:
    """What a presentation format says otherwise than the assigned definition; '' for nothing."""
    if isinstance(said, (StructFormat, ListFormat, BytesFormat)) or isinstance(defined, (StructFormat, BytesFormat)):
        return ""
    parts = []
    if _kind(said) != _kind(defined):
        parts.append(f"{_kind(said)} instead of {_kind(defined)}")
    elif (
        isinstance(said, IntegerFormat)
        and isinstance(defined, IntegerFormat)
        and _is_power_of_ten(defined.scale)
        and said.scale != defined.scale
    ):
        parts.append(f"steps of {said.scale} instead of {defined.scale}")
    symbol = catalogue.unit_symbol(unit)
    if symbol is not None and symbol != defined.unit and defined.kind == "number":
        parts.append(f"unit {symbol or 'none'} instead of {defined.unit or 'none'}")
    return f"it says {' and '.join(parts)}, which is how the characteristic is defined" if parts else ""


def _kind(form: Format) -> str:
    return form.name if isinstance(form, IntegerFormat) else form.describe().partition(" ")[0]


def _is_power_of_ten(scale: Fraction) -> bool:
    digits = str(max(scale.numerator, scale.denominator))
    return min(scale.numerator, scale.denominator) == 1 and digits.rstrip("0") == "1"
