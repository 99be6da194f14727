"""An inspection in the terminal."""

from __future__ import annotations

import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from benchrig.cli.inspection_text import render
from benchrig.desk.comparing import Comparison, compare
from benchrig.desk.findings import Finding, findings
from benchrig.desk.inspection import (
    AdvertisingSeen,
    CharacteristicSeen,
    Content,
    DescriptorSeen,
    Inspection,
    ServiceSeen,
    Timing,
)
from benchrig.values.catalogue import long_uuid
from tests.record.strategies import device_text, few

OWN = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"


def table(*characteristics: CharacteristicSeen, name: str = "unit 1", notes: list[str] | None = None) -> Inspection:
    return Inspection(
        benchrig="0.1.0", at="2026-05-01T10:00:00.000Z", radio="virtual:device.yaml", simulated=True,
        address="C4:00:00:00:00:01", address_type="random",
        advertising=AdvertisingSeen(name=name, rssi=-53.5, interval=0.105), timing=Timing(0.63, 1.2, 0.54), payload=244,
        whole_table=True, services=[ServiceSeen(1, long_uuid(0x180F), "battery", list(characteristics))], notes=notes or [],
    )  # fmt: skip


def level(raw: str = "61", value: int = 97) -> CharacteristicSeen:
    content = Content(raw, value, "%", format="uint8 %", known_by="assigned number")
    return CharacteristicSeen(3, long_uuid(0x2A19), "battery level", ["read", "notify"], content=content)


def shown(
    seen: Inspection, found: list[Finding] | None = None, against: Comparison | None = None, width: int = 100
) -> list[str]:
    file = io.StringIO()
    render(seen, found or [], Console(file=file, width=width, color_system=None, force_terminal=False), against)
    return file.getvalue().splitlines()


def test_the_device_its_timing_and_its_payload() -> None:
    assert shown(table())[:5] == [
        "device    unit 1, address C4:00:00:00:00:01 (random)",
        "radio     virtual:device.yaml, SIMULATED",
        "heard     -53.5 dBm, every 105 ms",
        "connected in 630 ms, 540 ms of it for the table; all values read in 1200 ms",
        "payload   244 bytes in a notification",
    ]


def test_a_value_with_handle_name_properties_unit_and_bytes() -> None:
    lines = shown(table(level()))
    assert "battery (180F)  handle 0x0001" in lines
    assert "  0x0003  battery level (2A19)  read, notify" in lines
    assert "          97 %  [61]" in lines


def test_what_has_no_format_no_bytes_no_permission_or_no_sense() -> None:
    seen = table(
        CharacteristicSeen(3, OWN, OWN, ["read"], content=Content("0102")),
        CharacteristicSeen(5, OWN, OWN, ["read"], content=Content("")),
        CharacteristicSeen(7, OWN, OWN, ["read"], unread="ATT error 0x02 (read not permitted)", refused=2),
        CharacteristicSeen(9, OWN, OWN, ["read"], content=Content("65", format="uint8 %", wrong="101 % is too much")),
        CharacteristicSeen(11, OWN, OWN, [], unread="not readable"),
    )
    assert [line.strip() for line in shown(seen)[8:-2] if not line.startswith("  0x")] == [
        "[01 02]", "(no bytes)", "ATT error 0x02 (read not permitted)", "101 % is too much  [65]",
    ]  # fmt: skip
    assert f"  0x000B  {OWN}  no properties" in shown(seen)


def test_descriptors_and_what_they_say() -> None:
    own = CharacteristicSeen(
        3, OWN, OWN, ["read"],
        [
            DescriptorSeen(4, long_uuid(0x2904), "characteristic presentation format", Content("0EFE2F27010000", format="struct")),
            DescriptorSeen(5, long_uuid(0x2901), "characteristic user description", Content("41", "A", format="utf8")),
            DescriptorSeen(6, long_uuid(0x2902), "client characteristic configuration", unread="ATT error 0x05", refused=5),
        ],
        Content("2909", 23.45, "°C", format="sint16 × 0.01 °C", known_by="presentation format"),
    )  # fmt: skip
    assert [line.strip() for line in shown(table(own), width=120)[8:12]] == [
        "23.45 °C  [29 09]  as its presentation format says",
        "0x0004  characteristic presentation format (2904): sint16 × 0.01 °C  [0E FE 2F 27 01 00 00]",
        "0x0005  characteristic user description (2901): A  [41]",
        "0x0006  client characteristic configuration (2902): ATT error 0x05",
    ]


def test_a_structure_is_shown_field_by_field() -> None:
    content = Content("00", {"flags": 0, "rate": 72, "more": [1, 2]}, units={"rate": "bpm"}, format="struct")
    lines = shown(table(CharacteristicSeen(3, OWN, OWN, ["read"], content=content)))
    assert "          flags 0, rate 72 bpm, more [1, 2]  [00]" in lines


def test_findings_with_rule_and_source_and_how_many() -> None:
    lines = shown(table(), [Finding("missing-cccd", "error", "battery/battery level", "nobody can subscribe", "Core")])
    assert lines[-3:] == [
        "error: battery/battery level: nobody can subscribe",
        "         missing-cccd; Core",
        "1 error",
    ]
    assert shown(table())[-1] == "no problems found in the attribute table or in the advertising"


def test_what_has_changed() -> None:
    before, after = table(level()), table(level("60", 96), CharacteristicSeen(9, OWN, OWN, ["read"]))
    after.services[0].characteristics[0].properties = ["read"]
    assert shown(after, against=compare(before, after))[-4:] == [
        f"added    battery/{OWN}",
        "changed  battery/battery level: properties read, notify -> read",
        "value    battery/battery level: 97 % -> 96 %",
        "the structure differs",
    ]


@pytest.mark.parametrize("width", [40, 79, 200])
def test_no_line_is_wider_than_the_console_or_ends_in_blanks(width: int) -> None:
    seen = table(level(), CharacteristicSeen(5, OWN, OWN, ["read"], content=Content("41" * 60)), notes=["a note " * 20])
    for line in shown(seen, findings(seen), width=width):
        assert cell_len(line) <= width
        assert line == line.rstrip()


@few
@given(device_text())
def test_no_text_of_the_device_is_markup_or_an_escape_sequence(text: str) -> None:
    content = Content("41", text, format="utf8", wrong="")
    seen = table(CharacteristicSeen(3, OWN, text, ["read"], content=content, unread=text), name=text, notes=[text])
    file = io.StringIO()
    colour = Console(file=file, width=100, force_terminal=True, color_system="standard")
    render(seen, [Finding("rule", "note", text, text, text)], colour, compare(seen, table(name=text + "x")))
    assert all(line.isprintable() for line in re.sub(r"\x1b\[[0-9;]*m", "", file.getvalue()).split("\n"))


@few
@given(device_text(), st.integers(20, 100))
def test_an_output_that_knows_only_ascii(text: str, width: int) -> None:
    file = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    render(table(level(), name=text), [], Console(file=file, width=width))
    file.flush()
