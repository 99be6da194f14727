"""Advertising payloads field by field, against published octets and names."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from benchrig.values.advertising import EARLY_END, AdField, appearance_name, parse_payload
from benchrig.values.advertising_data import type_name

OWN_UUID = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"
BASE = "0000{}-0000-1000-8000-00805f9b34fb".format

# Payloads and what tshark 4.0.17 says of them; bumble 0.0.236 agrees where it reads them.
REFEREED: list[tuple[str, list[Any]]] = [
    (
        "020106 03030D18 0A0962656E63682D647574",
        [["general discoverable", "BR/EDR not supported"], [BASE("180d")], "bench-dut"],
    ),
    ("020A04", [4]),
    ("020AF4", [-12]),
    ("05FF5900ABCD", [{"company": "0059", "data": "ABCD"}]),
    ("04160F1855", [{"service": BASE("180f"), "data": "55"}]),
    ("05161A182909", [{"service": BASE("181a"), "data": "2909"}]),
    ("03194103", [{"code": 0x0341, "name": "heart rate sensor: heart rate belt"}]),
    ("051206005000", [{"min": 7.5, "max": 100, "unit": "ms"}]),
    ("031AA000", [{"interval": 100, "unit": "ms"}]),
    ("1107 407E1D6C0F2F3E8A864C539A02001D6B", [[OWN_UUID]]),
]


@pytest.mark.parametrize(("octets", "values"), REFEREED, ids=[octets for octets, _ in REFEREED])
def test_payloads_read_as_independent_programs_read_them(octets, values):
    fields = parse_payload(bytes.fromhex(octets))
    assert [field.value for field in fields] == values
    assert not any(field.wrong for field in fields)


def test_where_each_field_stands():
    fields = parse_payload(bytes.fromhex("020106 03030D18 0A0962656E63682D647574"))
    assert [(field.offset, field.length) for field in fields] == [(0, 3), (3, 4), (7, 11)]
    assert fields[1] == AdField(
        3,
        4,
        3,
        "complete list of 16-bit service or service class uuids",
        [BASE("180d")],
        "heart rate (180D)",
        b"\r\x18",
    )


def test_an_early_end_with_its_padding():
    """The rest is ignored by tshark and bumble."""
    flags, rest = parse_payload(bytes.fromhex("0201060000000000"))
    assert (flags.type, rest.name, rest.offset, rest.length, rest.wrong) == (1, EARLY_END, 3, 5, "")


def test_octets_after_an_early_end_are_wrong():
    """Core specification Vol 3 Part C 11: all octets after the early end are 0."""
    _, rest = parse_payload(bytes.fromhex("020106 00 00 020A04"))
    assert "from offset 5 on" in rest.wrong
    assert rest.value is None


def test_a_structure_that_runs_past_the_end_is_never_read():
    """tshark flags it as malformed; a lax reader makes the name 'A' of it."""
    name = parse_payload(bytes.fromhex("020106 090941"))[1]
    assert (name.offset, name.length, name.type, name.value) == (3, 3, 9, None)
    assert name.wrong == "the structure runs past the end: 9 bytes announced, 2 there"


# Sizes, reserved bits and values: Core Specification Supplement, Part A.
@pytest.mark.parametrize(
    ("octets", "wrong"),
    [
        ("0101", "expected at least 1 byte"),
        ("0201E6", "reserved bits are set: 0xE0"),
        ("04030D1855", "3 bytes cannot be a list of UUIDs of 2 bytes"),
        ("0309 41FF", "not UTF-8 text from byte 1"),
        ("030A0404", "expected 1 byte, found 2"),
        ("020A80", "-128 dBm is reserved"),
        ("02160F", "expected a UUID of 2 bytes, found 1"),
        ("021941", "expected 2 bytes, found 1"),
        ("0512 0500 5000", "0x0005 is reserved"),
        ("0512 5000 0600", "longer than the longest"),
        ("021C04", "the role 0x04 is reserved"),
        ("02FF59", "expected a company identifier of 2 bytes"),
        ("022F01", "expected 3 or 4 bytes"),
        ("0217AA", "1 byte cannot be"),
        ("0124", "expected a scheme"),
        ("081B 5544332211C0 02", "reserved bits are set: 0x02"),
    ],
)
def test_what_does_not_fit_its_type(octets, wrong):
    (field,) = parse_payload(bytes.fromhex(octets))
    assert wrong in field.wrong


# Layouts: Core Specification Supplement, Part A.
@pytest.mark.parametrize(
    ("octets", "text"),
    [
        ("020100", "none set"),
        ("081B 5544332211C0 01", "C0:11:22:33:44:55 (random)"),
        ("0717 5544332211C0", "C0:11:22:33:44:55"),
        ("021C00", "peripheral only"),
        ("0512 FFFF 5000", "any to 100 ms"),
        ("0824 17 2F2F612E6278", "https://a.bx"),
        ("0224 02", "\x02"),
        ("042F A00000", "100 ms"),
        ("0419 410300", "41 03 00"),
        ("0399 0102", "01 02"),
        ("0515 00112233", "00 11 22 33"),
        ("040D 000000", "0x000000"),
        ("0211 09", "OOB data present, random address"),
        ("0319 FFFF", "not assigned (0xFFFF)"),
    ],
)
def test_what_is_said_to_people(octets, text):
    (field,) = parse_payload(bytes.fromhex(octets))
    assert field.text == text


@given(st.binary(max_size=300))
def test_the_fields_tile_any_payload(payload):
    fields = parse_payload(payload)
    ends = [0, *(field.offset + field.length for field in fields)]
    assert [field.offset for field in fields] == ends[:-1]
    assert ends[-1] == len(payload)


@given(st.integers(0, 255), st.binary(max_size=40))
def test_any_data_of_any_type_become_json(kind, data):
    (field,) = parse_payload(bytes((len(data) + 1, kind)) + data)
    assert (field.type, field.raw) == (kind, data)
    json.dumps(field.value)


def published(name: str) -> Any:
    """A file of the Bluetooth SIG's assigned numbers, 2026 edition, as bluetooth-sig 0.6.0 ships it."""
    root = resources.files("bluetooth_sig") / "bluetooth_sig" / "assigned_numbers" / "core"
    return yaml.safe_load((root / f"{name}.yaml").read_text(encoding="utf-8"))[name]


def test_types_are_named_as_published():
    for entry in published("ad_types"):
        assert entry["name"].lower() in str(type_name(entry["value"]))
    assigned = {entry["value"] for entry in published("ad_types")}
    assert [kind for kind in range(256) if type_name(kind) and kind not in assigned] == []


def test_appearances_are_named_as_published():
    names = {}
    for category in published("appearance_values"):
        code, name = category["category"] << 6, category["name"].lower()
        names[code] = name
        for part in category.get("subcategory", []):
            names[code | part["value"]] = f"{name}: {part['name'].lower()}"
    found = {code: appearance_name(code) for code in range(0x10000)}
    assert {code: name for code, name in found.items() if name} == names
