"""The whole numbers under a value: what a counter counts."""

from __future__ import annotations

import pytest

from tests.values.building import form


@pytest.mark.parametrize(
    ("spec", "data", "raw"),
    [
        ("{as: uint8, scale: 0.5, offset: -10}", "07", 7),
        ("{as: uint8, words: {7: hot, 8: hot}, only_words: true}", "08", 8),
        ("{as: sint12}", "FF 0F", -1),
        ("{as: uint16, order: big, valid_max: 5}", "01 02", 0x0102),
        ("{as: hex}", "01", b"\x01"),
        ("{as: temperature}", "00 80", -0x8000),
    ],
)
def test_scale_words_and_range_are_left_out(spec: str, data: str, raw: object) -> None:
    assert form(spec).plain().decode(bytes.fromhex(data)) == raw


def test_in_a_structure_with_parts_and_lists() -> None:
    plain = form("""
        fields:
          - {name: flags, as: uint8, bits: {lit: 0x01, number: {mask: 0x0E, words: {1: one}}}}
          - {name: level, as: uint8, scale: 0.1, when: 0x01}
          - {name: rest, as: uint8, scale: 0.1, list: true, when: 0x01}
    """).plain()
    assert plain.decode(b"\x05\x09\x01\x02") == {"flags": 5, "lit": True, "number": 2, "level": 9, "rest": [1, 2]}
    assert plain.decode(b"\x02") == {"flags": 2, "lit": False, "number": 1}
