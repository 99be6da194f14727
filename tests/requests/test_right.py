"""Right answers and wrong ones."""

from __future__ import annotations

import pytest

from benchrig.requests.right import right_of, wrong_answer, wrong_on
from benchrig.requests.wording import request_of
from tests.requests.kit import target

# request; right answers; wrong ones ('' is none), as hex
CASES = [
    ("read 0x0008", ["0B 01 02"], ["", "01 0A 08 00 02", "01 0C 08 00 01", "13", "01 0A 08 00", "0D"]),
    ("read 0x0013", ["01 0A 13 00 02"], ["0B 00", "01 0A 13 00 01"]),
    ("read 0xFFFF", ["01 0A FF FF 01"], ["0B", "01 0A FF FF 0A", ""]),
    ("read blob 0x000F at 60", ["0D", "01 0C 0F 00 0B", "01 0C 0F 00 06"], ["01 0C 0F 00 07", "0B"]),
    ("read blob 0x000F at 61", ["01 0C 0F 00 07", "01 0C 0F 00 0B"], ["0D", "01 0C 0F 00 0E", ""]),
    ("read blob 0x000C at 9", ["0D", "01 0C 0C 00 07"], ["01 0C 0C 00 0E"]),
    ("read blob 0x000C at 513", ["01 0C 0C 00 07"], ["0D"]),
    ("write 0x0008 01 02 00", ["13", "01 12 08 00 0D", "01 12 08 00 80", "01 12 08 00 13"], ["01 12 08 00 0E", "01 12 08 00 06", ""]),
    ("write 0x0008 00*513", ["01 12 08 00 0D"], ["13", "01 12 08 00 80"]),
    ("write 0x000F 00", ["01 12 0F 00 03"], ["13", "01 12 0F 00 0D"]),
    ("write 0x0001 00", ["01 12 01 00 03"], ["13"]),
    ("write 0x000D 00 00 00", ["01 12 0D 00 0D"], ["13"]),
    ("write 0x000D FF FF", ["13", "01 12 0D 00 FD"], ["01 12 0D 00 04"]),
    ("command 0x0008 01", [""], ["13", "01 52 08 00 0D"]),
    ("prepare 0x0008 at 1 02", ["17 08 00 01 00 02", "01 16 08 00 07", "01 16 08 00 09"], ["17 08 00 00 00 02", "17", "01 16 08 00 0A"]),
    ("prepare 0x000F at 0 02", ["01 16 0F 00 03", "01 16 0F 00 06"], ["17 0F 00 00 00 02"]),
    ("execute", ["19", "01 18 00 00 07", "01 18 08 00 0D"], ["01 18 00 00 0A", ""]),
    ("cancel", ["19"], ["01 18 00 00 07"]),
    ("att 18 80", ["19", "01 18 00 00 04"], ["01 18 00 00 07"]),
    ("mtu 23", ["03 17 00", "01 02 00 00 06"], ["", "01 02 00 00 0A", "13"]),
    ("find information 0x0000-0xFFFF", ["01 04 00 00 01"], ["05 01 01 00 00 28", "01 04 00 00 0A"]),
    ("find information 0x0020-0xFFFF", ["01 04 20 00 0A"], ["05 01", "01 04 20 00 01"]),
    ("read by type 0x0001-0xFFFF 00 01 02", ["01 08 01 00 04"], ["09 01", "01 08 01 00 0A", ""]),
    ("read by group 0x0001-0xFFFF 03 28", ["01 10 01 00 10"], ["11 06", "01 10 01 00 0A"]),
    ("find by type 0x0002-0x0001 00 28", ["01 06 02 00 01"], ["07"]),
    ("att 0A 03", ["01 0A 00 00 04"], ["", "0B", "01 0A 00 00 06"]),
    ("att 0A 08 00 FF", ["0B 01 02", "01 0A 08 00 04"], [""]),
    ("att 2A 01", ["01 2A 00 00 06"], ["", "01 2A 00 00 04", "01 00 00 00 06"]),
    ("att 25 01", ["01 25 00 00 06", ""], ["01 25 00 00 01"]),
    ("att 6A 01", [""], ["01 6A 00 00 06"]),
    ("att 0B 01", [""], ["01 0B 00 00 06"]),
    ("att 1D 08 00 01", ["", "1E"], ["01 1D 00 00 06"]),
    ("att 1E", [""], ["1E"]),
    ("att -", ["", "01 00 00 00 04"], ["0B"]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "right", "wrong"), CASES, ids=[case[0] for case in CASES])
def test_answers(text, right, wrong):
    expected = right_of(request_of(text).octets, target())
    for answer in right:
        assert expected.silence if not answer else wrong_answer(expected, bytes.fromhex(answer)) == "", answer
    for answer in wrong:
        assert not expected.silence if not answer else wrong_answer(expected, bytes.fromhex(answer)) != "", answer


def test_what_is_said_of_a_wrong_answer():
    expected = right_of(request_of("read blob 0x000F at 61").octets, target())
    said = wrong_answer(expected, bytes.fromhex("01 0C 0F 00 0E"))
    assert said == "expected attribute not long or invalid offset or request not supported, found unlikely error"
    assert wrong_answer(expected, b"\xff\0\xff").endswith("found FF 00 FF")
    assert wrong_answer(expected, b"").endswith("found no octets")
    assert wrong_answer(expected, b"\x01\x0c").startswith("expected an error response of 5 octets")
    assert wrong_answer(right_of(b"\x0b\x01", target()), b"\x13") == "expected no answer, found a write response (13)"


def test_what_may_be_written_has_no_known_length_any_more():
    """A write of this link may have changed it: the device is not to blame for an offset that is beyond the end by now."""
    written = right_of(request_of("read blob 0x000A at 4").octets, target())
    assert wrong_answer(written, bytes.fromhex("01 0C 0A 00 07")) == ""
    kept = right_of(request_of("read blob 0x000A at 4").octets, target(writable=()))
    assert wrong_answer(kept, bytes.fromhex("01 0C 0A 00 07")) != ""


@pytest.mark.parametrize(
    ("sent", "right", "wrong"),
    [
        ("smp 03 00", ["05 0A", "05 07"], ["05 00", "05 10", "05", "02 00 00 00 00 00 00", "04 00"]),
        ("smp 01 03 00 00 06 00 00", ["05 06", "02 03 00 01 10 00 00"], ["02 03"]),
        ("signal 02 07 00 00", ["01 07 02 00 00 00", "03 07 00 00"], ["01 08 02 00 00 00", "01 07 03 00 00 00", "01", "05 07 00 00"]),
        ("signal 13 01 02 00 00 00", ["01 01 02 00 00 00"], ["14 01 00 00"]),
        ("frame 0x0040 01", [], ["01"]),
    ],
)  # fmt: skip
def test_answers_on_other_channels(sent, right, wrong):
    request = request_of(sent)
    for answer in right:
        assert wrong_on(request.channel, request.octets, bytes.fromhex(answer)) == ""
    for answer in wrong:
        assert wrong_on(request.channel, request.octets, bytes.fromhex(answer)) != "", answer
