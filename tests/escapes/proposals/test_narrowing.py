"""Limits from what the sound device gave: narrow enough to mean something, wide enough for the next unit."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from benchrig.escapes.proposals.narrowing import narrow, tighter
from benchrig.steps.base import ReadingType
from benchrig.values.limit import Limit

SECONDS, LEVEL, COUNT = ReadingType("number", "s"), ReadingType("number", "dBm"), ReadingType("number")
TEXT, BYTES, FLAG = ReadingType("text"), ReadingType("bytes"), ReadingType("boolean")


@pytest.mark.parametrize(
    ("name", "kind", "values", "limit"),
    [
        ("elapsed", SECONDS, [0.03, 0.06], {"max": "0.56 s"}),
        ("elapsed", SECONDS, [2.0, 3.0], {"max": "9 s"}),
        ("interval", SECONDS, [0.1, 0.104], {"min": "0.07 s", "max": "0.13 s"}),
        ("rssi", LEVEL, [-54, -50], {"min": "-60 dBm", "max": "-44 dBm"}),
        ("attempts", COUNT, [1, 1], {"max": "2"}),
        ("lost", COUNT, [0, 0], {"equals": "0"}),
        ("name", TEXT, ["VFL", "VFL"], {"equals": "VFL"}),
        ("raw", BYTES, ["0A0B", "0A0B"], {"equals": "0A 0B"}),
        ("scan_response", BYTES, ["", ""], {"equals": ""}),
        ("bonded", FLAG, [True, True], {"equals": True}),
        ("att_error", TEXT, ["out of range"] * 2, {"equals": "out of range"}),
    ],
)
def test_what_is_proposed(name: str, kind: ReadingType, values: list[Any], limit: dict[str, Any]) -> None:
    found = narrow(name, kind, values)
    assert found is not None
    assert found[0] == limit


def test_what_is_known_to_be_off_by_little_is_held_to_it() -> None:
    found = narrow("rate", ReadingType("number", "Hz"), [24.9, 25.1], Fraction(1, 200))
    assert found is not None
    assert found[0] == {"min": "24.77 Hz", "max": "25.23 Hz"}


@pytest.mark.parametrize(
    ("name", "kind", "values"),
    [
        ("name", TEXT, ["one", "two"]),
        ("name", TEXT, ["one", None]),
        ("name", TEXT, []),
        ("att_error", TEXT, ["none", "none"]),
        ("bonded", FLAG, [True, False]),
    ],
)
def test_what_shows_no_limit(name: str, kind: ReadingType, values: list[Any]) -> None:
    assert narrow(name, kind, values) is None


def test_a_limit_is_only_made_stricter() -> None:
    old = Limit(min=-70, max=-35).bind("number", "")
    assert tighter(old, {"min": "-60", "max": "-44"}, COUNT) == {"min": "-60", "max": "-44"}
    assert tighter(old, {"min": "-80", "max": "-44"}, COUNT) == {"min": "-70", "max": "-44"}
    assert tighter(old, {"min": "-80", "max": "-30"}, COUNT) is None
    assert tighter(Limit(equals=3).bind("number", ""), {"min": "-80"}, COUNT) is None
