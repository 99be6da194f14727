"""An independent program agrees on integers: the PyPI package bluetooth-sig 0.6.0.

Not compared: medical floats, whose exponent it reads as biased; its enumerations and durations, which are objects;
Rainfall, which it gives in mm though the GSS says metre; Time Zone, which it gives as text; and values that are
words here: it raises for most of them, has plain numbers for those of Time Accuracy and 0 for 'not periodic'.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest
from bluetooth_sig.gatt.characteristics.registry import CharacteristicRegistry
from bluetooth_sig.gatt.exceptions import BluetoothSIGError

from benchrig.errors import MalformedValue
from benchrig.values import catalogue
from benchrig.values.assigned import assigned
from benchrig.values.numbers import IntegerFormat
from benchrig.values.value import Word

RAINFALL, TIME_ZONE, TIME_SECOND_16, TIME_SECOND_8 = "2A78", "2A0E", "2B16", "2B17"
FAULTS = {RAINFALL, TIME_ZONE, TIME_SECOND_16, TIME_SECOND_8}
REFUSED = "refused"


@pytest.fixture(autouse=True)
def _quiet():
    """It logs every value that it refuses."""
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


def compared() -> Iterator[tuple[str, IntegerFormat]]:
    for uuid in assigned().definitions:
        form = catalogue.definition(uuid)
        is_characteristic = catalogue.name_of(uuid, "characteristic") is not None
        if isinstance(form, IntegerFormat) and not form.only_words and is_characteristic and uuid not in FAULTS:
            yield uuid, form


def patterns(bits: int) -> list[int]:
    """All patterns of 8 bits; of more the corners and a sweep by a step that is prime."""
    top = 1 << bits
    corners = {0, 1, top // 2 - 1, top // 2, top - 2, top - 1}
    return list(range(top)) if bits == 8 else sorted(corners | set(range(0, top, top // 211)))


def ours(form: IntegerFormat, data: bytes):
    try:
        return form.decode(data)
    except MalformedValue:
        return REFUSED


def theirs(uuid: str, data: bytes):
    found = CharacteristicRegistry.get_characteristic_class_by_uuid(uuid)
    assert found is not None
    try:
        return float(found().parse_value(data))
    except BluetoothSIGError:
        return REFUSED


@pytest.mark.parametrize(("uuid", "form"), list(compared()), ids=lambda part: part if isinstance(part, str) else "")
def test_agrees_on_integers(uuid, form):
    for pattern in patterns(form.bits):
        data = pattern.to_bytes(form.size, "little")
        value = ours(form, data)
        if not isinstance(value, Word):
            expected = theirs(uuid, data)
            assert value == (expected if value == REFUSED else pytest.approx(expected, rel=1e-12)), data.hex()


def test_enough_is_compared():
    assert len(list(compared())) > 20
