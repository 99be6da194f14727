"""What happened, from HCI packets: fragments put together, reports of both kinds, when a packet arrived."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.captures.btsnoop import Kind, Packet
from benchrig.captures.hci import Connected, Encrypted, Ended, Heard, Pdu, Scanning, Updated, traffic_of

ADDRESS = bytes.fromhex("0100000000C4")


def event(at: float, code: int, body: bytes) -> Packet:
    return Packet(at, "event", False, bytes([code, len(body)]) + body)


def command(at: float, opcode: int, body: bytes) -> Packet:
    return Packet(at, "command", True, struct.pack("<HB", opcode, len(body)) + body)


def data(at: float, sent: bool, octets: bytes, *, begins: bool = True, handle: int = 1) -> Packet:
    word = handle | (0 if begins else 1) << 12
    return Packet(at, "data", sent, struct.pack("<HH", word, len(octets)) + octets)


def frame(octets: bytes, channel: int = 4) -> bytes:
    return struct.pack("<HH", len(octets), channel) + octets


def test_fragments_are_put_together_and_arrive_with_the_last() -> None:
    whole = frame(bytes(range(60)))
    packets = [
        data(1.0, True, whole[:27]),
        data(1.1, True, whole[27:54], begins=False),
        data(1.2, True, whole[54:], begins=False),
        event(1.3, 0x13, bytes([1]) + struct.pack("<HH", 1, 2)),
        data(1.35, False, frame(b"\x0b1")[:3]),
        data(1.4, False, frame(b"\x0b1")[3:], begins=False),
        event(1.5, 0x13, bytes([1]) + struct.pack("<HH", 1, 1)),
    ]
    traffic = traffic_of(packets)
    assert traffic.malformed == 0
    assert traffic.events == [
        Pdu(1.0, 1, 4, bytes(range(60)), True, 1.5),
        Pdu(1.4, 1, 4, b"\x0b1", False, 1.4),
    ]


def test_a_fragment_without_its_beginning_is_left_out() -> None:
    traffic = traffic_of([data(0, False, b"xyz", begins=False), data(1, False, frame(b"\x13"))])
    assert traffic.events == [Pdu(1, 1, 4, b"\x13", False, 1)]
    assert traffic.malformed == 1


def test_the_life_of_a_link() -> None:
    connected = bytes([1, 0]) + struct.pack("<HBB", 1, 0, 1) + ADDRESS + struct.pack("<HHHB", 12, 0, 72, 0)
    enhanced = bytes([10, 0]) + struct.pack("<HBB", 2, 0, 1) + ADDRESS + bytes(12) + struct.pack("<HHHB", 24, 0, 100, 0)
    events = traffic_of(
        [
            event(1, 0x3E, connected),
            event(2, 0x3E, bytes([3, 0]) + struct.pack("<HHHH", 1, 36, 0, 400)),
            event(3, 0x08, struct.pack("<BHB", 6, 1, 0)),
            event(4, 0x05, struct.pack("<BHB", 0, 1, 0x13)),
            event(5, 0x3E, enhanced),
            command(6, 0x0406, struct.pack("<HB", 2, 0x13)),
            event(7, 0x05, struct.pack("<BHB", 0, 2, 0x16)),
        ]
    ).events
    assert events == [
        Connected(1, 1, "C4:00:00:00:00:01", 0.015, 0.72),
        Updated(2, 1, 0.045, 4.0),
        Encrypted(3, 1, 6),
        Ended(4, 1, 0x13, by_bench=False),
        Connected(5, 2, "C4:00:00:00:00:01", 0.03, 1.0),
        Ended(7, 2, 0x16, by_bench=True),
    ]


def test_reports_of_both_kinds_and_several_in_one_event() -> None:
    legacy = b"".join(
        bytes([kind, 1]) + ADDRESS + bytes([len(said)]) + said + bytes([level])
        for kind, said, level in ((0, b"\2\1\6", 206), (4, b"", 127))
    )
    extended = struct.pack("<HB", 0x13, 0) + ADDRESS + bytes([1, 0, 255, 127, 196, 0, 0, 0]) + bytes(6) + b"\1\x09"
    events = traffic_of(
        [
            command(0, 0x200C, b"\1\0"),
            event(1, 0x3E, bytes([2, 2]) + legacy),
            event(2, 0x3E, bytes([13, 1]) + extended),
            command(3, 0x2042, b"\0\0\0\0\0\0"),
        ]
    ).events
    assert events == [
        Scanning(0, on=True),
        Heard(1, "C4:00:00:00:00:01", "random", b"\2\1\6", -50, connectable=True, scannable=True),
        Heard(1, "C4:00:00:00:00:01", "random", b"", None, response=True),
        Heard(2, "C4:00:00:00:00:01", "public", b"\x09", -60, connectable=True, scannable=True),
        Scanning(3, on=False),
    ]


@given(st.lists(st.tuples(st.sampled_from(["command", "data", "event"]), st.booleans(), st.binary(max_size=60))))
def test_any_packets_are_taken_or_counted(packets: list[tuple[Kind, bool, bytes]]) -> None:
    traffic = traffic_of([Packet(float(at), *rest) for at, rest in enumerate(packets)])
    assert 0 <= traffic.malformed <= len(packets)


@pytest.mark.parametrize("size", range(24))
def test_an_event_that_ends_too_early_is_counted(size: int) -> None:
    connected = bytes([1, 0]) + struct.pack("<HBB", 1, 0, 1) + ADDRESS + struct.pack("<HHHB", 12, 0, 72, 0)
    whole = bytes([0x3E, len(connected)]) + connected
    traffic = traffic_of([Packet(0, "event", False, whole[:size])])
    assert len(traffic.events) + traffic.malformed <= 1
    assert (len(traffic.events) == 1) == (size >= len(whole) - 1)
