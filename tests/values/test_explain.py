"""What stands where in a value."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.errors import MalformedValue
from benchrig.values import catalogue
from benchrig.values.explain import Piece, explain
from benchrig.values.format import Format, build_format, spec_from
from tests.values.strategies import bytes_for
from tests.values.test_format_properties import FORMATS


def adopted(name: str) -> Format:
    form = catalogue.definition(catalogue.uuid_of(name) or "")
    assert form is not None
    return form


def pieces(name: str, octets: str) -> list[Piece]:
    return explain(adopted(name), bytes.fromhex(octets))


def test_a_single_value():
    (piece,) = pieces("temperature", "2909")
    assert (piece.name, piece.offset, piece.length, piece.value, piece.unit) == ("", 0, 2, 23.45, "°C")
    assert piece.format == "sint16 × 0.01 °C"


def test_fields_bits_and_items_of_a_heart_rate():
    """tshark 4.0.17 and bluetooth-sig 0.6.0 read 80 bpm, 16 kJ and these RR intervals."""
    found = pieces("heart rate measurement", "1E 50 10 00 33 03 9A 02")
    fields = [(piece.name, piece.offset, piece.length) for piece in found if not piece.mask]
    assert fields == [
        ("flags", 0, 1),
        ("heart_rate", 1, 1),
        ("energy_expended", 2, 2),
        ("rr_interval[0]", 4, 2),
        ("rr_interval[1]", 6, 2),
    ]
    assert [piece.value for piece in found if piece.offset > 0] == [80, 16, 0.7998046875, 0.650390625]
    contact = next(piece for piece in found if piece.name == "contact")
    assert (contact.offset, contact.mask, contact.value) == (0, 0x06, "contact")


@pytest.mark.parametrize(
    ("name", "octets", "where", "wrong"),
    [
        ("temperature", "4C95", ("", 0), "outside the valid range"),
        ("heart rate measurement", "103C00", ("rr_interval", 2), "in item 1, found 1"),
        ("heart rate measurement", "10", ("heart_rate", 1), "expected 1 byte, found 0"),
        ("heart rate measurement", "E0 48", ("flags", 0), "reserved bits"),
        ("battery level", "6400", ("", 0), "1 byte, found 2 bytes"),
        ("csc measurement", "00 05 06", ("left over", 1), "2 bytes left over"),
        ("temperature measurement", "06 6C0100FF EA070C190E05", ("date_time", 5), "expected 7 bytes, found 6"),
    ],
)
def test_where_a_value_is_wrong(name, octets, where, wrong):
    (bad,) = [piece for piece in pieces(name, octets) if piece.wrong]
    assert (bad.name, bad.offset) == where
    assert wrong in bad.wrong


def test_a_bad_field_does_not_hide_the_ones_after_it():
    found = pieces("heart rate measurement", "80 48")
    assert [(piece.name, piece.value) for piece in found if piece.name == "heart_rate"] == [("heart_rate", 72)]


def test_a_structure_in_a_structure():
    inner = {"name": "motion", "fields": [{"name": "x", "as": "sint8"}, {"name": "y", "as": "uint16", "order": "big"}]}
    form = build_format(spec_from({"fields": [{"name": "count", "as": "uint8"}, inner]}))
    found = explain(form, bytes.fromhex("01 FF 0102 AA"))
    assert [(piece.name, piece.offset, piece.value) for piece in found] == [
        ("count", 0, 1),
        ("motion.x", 1, -1),
        ("motion.y", 2, 0x0102),
        ("left over", 4, None),
    ]


@settings(max_examples=400, deadline=None)
@given(name=st.sampled_from(sorted(FORMATS)), data=st.data())
def test_the_pieces_tile_the_value_and_agree_with_decoding(name, data):
    form = FORMATS[name]
    octets = data.draw(st.binary(max_size=24) | bytes_for(form))
    found = explain(form, octets)

    assert b"".join(piece.raw for piece in found if not piece.mask) == octets
    at = 0
    for piece in found:
        assert piece.offset == (at - piece.length if piece.mask else at)
        at += 0 if piece.mask else piece.length
    try:
        value = form.decode(octets)
    except MalformedValue:
        value = None
    assert (value is None) == any(piece.wrong for piece in found)
    if isinstance(value, dict):
        plain = {piece.name: piece.value for piece in found if "[" not in piece.name and "." not in piece.name}
        assert plain.items() <= value.items()
