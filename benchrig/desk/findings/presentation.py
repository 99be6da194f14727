"""Presentation formats (2904): what they may say, and that they say what the characteristic's definition says."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from fractions import Fraction

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family
from benchrig.desk.paths import Standing
from benchrig.errors import MalformedValue
from benchrig.values import catalogue
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid
from benchrig.values.numbers import IntegerFormat
from benchrig.values.structs import ListFormat, StructFormat
from benchrig.values.text import BytesFormat

FAMILY = Family("presentation")

PRESENTATION, BATTERY_LEVEL = long_uuid(0x2904), long_uuid(0x2A19)
BLUETOOTH_SIG = 1
FIRST_UNIT, LAST_UNIT = 0x2700, 0x27FF

_CORE = "Core specification Vol 3 Part G 3.3.3.5"
_ASSIGNED = "Bluetooth SIG assigned numbers, 2026"


def _presented(look: Look) -> Iterator[tuple[Standing, bytes]]:
    """The presentation formats; another length than 7 is a finding of the values."""
    for standing, seen in look.descriptors():
        if seen.uuid == PRESENTATION and seen.content is not None and len(seen.content.data) == 7:
            yield standing, seen.content.data


def _described(look: Look) -> Iterator[tuple[Standing, bytes, Format]]:
    """Those that describe a format."""
    for standing, data in _presented(look):
        with contextlib.suppress(MalformedValue):
            yield standing, data, catalogue.format_from_presentation(data)


@FAMILY.rule("error", _ASSIGNED)
def presentation_reserved(look: Look) -> Iterator[Broken]:
    """A presentation format, or the name space or unit in it, is reserved."""
    for standing, data in _presented(look):
        yield from (Broken(standing.path, sentence) for sentence in _reserved(data))


def _reserved(data: bytes) -> Iterator[str]:
    try:
        catalogue.format_from_presentation(data)
    except MalformedValue as error:
        yield error.message
        return
    unit, namespace = int.from_bytes(data[2:4], "little"), data[4]
    if namespace != BLUETOOTH_SIG:
        yield f"the name space 0x{namespace:02X} is reserved; 0x01 is assigned"
    if not FIRST_UNIT <= unit <= LAST_UNIT:
        yield f"the unit 0x{unit:04X} is not assigned; units are 0x2700 (unitless) to 0x27FF"


@FAMILY.rule("error", f"{_CORE}.3")
def presentation_exponent(look: Look) -> Iterator[Broken]:
    """A presentation format with an exponent is not one of integers."""
    for standing, data, said in _described(look):
        if data[1] and not isinstance(said, IntegerFormat):
            exponent = int.from_bytes(data[1:2], signed=True)
            sentence = f"an exponent of {exponent} with {said.describe()}; only integers have one"
            yield Broken(standing.path, sentence)


@FAMILY.rule("error", "GATT Specification Supplement")
def presentation_contradicts(look: Look) -> Iterator[Broken]:
    """A presentation format says otherwise than the definition of the characteristic."""
    for standing, data, said in _described(look):
        assert standing.within is not None
        defined = catalogue.definition(standing.within.seen.uuid)
        unit = int.from_bytes(data[2:4], "little")
        if defined is not None and (unlike := _differences(said, defined, unit)):
            yield Broken(standing.path, unlike)


@FAMILY.rule("error", "Battery Service 1.0, 3.1.2.1")
def batteries_alike(look: Look) -> Iterator[Broken]:
    """Two batteries have presentation formats with one name space and description."""
    batteries: dict[bytes, str] = {}
    for standing, seen in look.descriptors():
        of_battery = standing.within is not None and standing.within.seen.uuid == BATTERY_LEVEL
        if seen.uuid == PRESENTATION and seen.content is not None and of_battery:
            twin = batteries.setdefault(seen.content.data[4:], standing.path)
            if twin != standing.path:
                sentence = f"it has the name space and description of {twin}, so nobody can tell the batteries apart"
                yield Broken(standing.path, sentence)


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
    return form.name or form.describe().partition(" ")[0]


def _is_power_of_ten(scale: Fraction) -> bool:
    digits = str(max(scale.numerator, scale.denominator))
    return min(scale.numerator, scale.denominator) == 1 and digits.rstrip("0") == "1"
