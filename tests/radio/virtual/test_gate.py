"""What a simulated device says to what its host must not see."""

from __future__ import annotations

import pytest

from benchrig.radio.virtual.gate import answer_to, is_truncated, is_unknown
from benchrig.values.channels import ATT, SIGNALLING, SMP

PASSES = None
INVALID, UNSUPPORTED = "04", "06"


@pytest.mark.parametrize(
    ("octets", "answer"),
    [
        ("0A 03 00", PASSES),
        ("0A 03", "01 0A 00 00 04"),
        ("0A 03 00 00", "01 0A 00 00 04"),
        ("08 01 00 FF FF 03 28", PASSES),
        ("08 01 00 FF FF", "01 08 00 00 04"),
        ("10 01 00 FF FF 00 28 01", "01 10 00 00 04"),
        ("0E 03 00 05 00", PASSES),
        ("0E 03 00 05 00 07", "01 0E 00 00 04"),
        ("12 03 00", PASSES),
        ("16 03 00 00", "01 16 00 00 04"),
        ("18 01", PASSES),
        ("18 02", "01 18 00 00 04"),
        ("2A 01", "01 2A 00 00 06"),
        ("52 03 00 01", PASSES),
        ("52 03", ""),
        ("6A 03", ""),
        ("D2 03 00", ""),
        ("0B 03", ""),
        ("1D 03 00 01", ""),
        ("1E", PASSES),
        ("1E 00", ""),
        ("", ""),
    ],
)
def test_att(octets: str, answer: str | None) -> None:
    assert answer_to(ATT, bytes.fromhex(octets)) == (None if answer is None else bytes.fromhex(answer))


@pytest.mark.parametrize(
    ("octets", "answer"),
    [
        ("02 07 00 00", "01 07 02 00 00 00"),
        ("12 01 FF 00 00", "01 01 02 00 00 00"),
        ("13 01 02 00 00 00", PASSES),
        ("13 01 02 00 00", ""),
        ("03 01 00 00", ""),
        ("02 00 00 00", ""),
        ("02", ""),
        ("", ""),
    ],
)
def test_signalling(octets: str, answer: str | None) -> None:
    assert answer_to(SIGNALLING, bytes.fromhex(octets)) == (None if answer is None else bytes.fromhex(answer))


def test_other_channels() -> None:
    assert answer_to(SMP, b"\xff") is None, "the security manager sees to it"
    assert {answer_to(channel, b"\x0a\x03\x00") for channel in (1, 2, 7, 0x40, 0xFFFF)} == {b""}


def test_what_is_no_request() -> None:
    assert [opcode for opcode in range(0, 0x40, 2) if is_unknown(bytes((opcode,)))] == [
        0x00, 0x14, 0x1A, 0x1C, 0x22, 0x24, 0x26, 0x28, 0x2A, 0x2C, 0x2E, *range(0x30, 0x40, 2),
    ]  # fmt: skip
    assert not is_unknown(b"\x6a")
    assert not is_unknown(b"")
    assert is_truncated(b"\x0a\x03")
    assert not is_truncated(b"\x2a")
    assert not is_truncated(b"\x0a\x03\x00")
    assert not is_truncated(b"")
