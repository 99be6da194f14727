"""H4 framing. External: Core Vol 4 Part A (types 1 to 5), Part E 5.4 (headers)."""

import contextlib
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.radio.h4 import FROM_CONTROLLER, FROM_HOST, Framer, NotH4

RESET = bytes.fromhex("01 03 0C 00")
RESET_DONE = bytes.fromhex("04 0E 04 01 03 0C 00")
ACL = bytes.fromhex("02 40 00 05 00 01 00 04 00 0A")

short = st.binary(max_size=255)
packets = st.one_of(
    st.builds(lambda code, body: b"\x01" + code + bytes((len(body),)) + body, st.binary(min_size=2, max_size=2), short),
    st.builds(lambda body: b"\x02\x01\x20" + len(body).to_bytes(2, "little") + body, st.binary(max_size=251)),
    st.builds(lambda body: b"\x03\x01\x00" + bytes((len(body),)) + body, short),
    st.builds(lambda body: b"\x05\x01\x00" + len(body).to_bytes(2, "little") + body, st.binary(max_size=251)),
)


def framed(*parts, types=FROM_HOST, longest=251):
    framer = Framer(types, longest)
    return [packet for part in parts for packet in framer.feed(part)]


@given(st.lists(packets, max_size=5), st.lists(st.integers(0, 1500), max_size=8))
def test_packets_come_out_whole_however_the_stream_is_cut(sent, cuts):
    stream = b"".join(sent)
    edges = [0, *sorted(min(cut, len(stream)) for cut in cuts), len(stream)]
    assert framed(*(stream[a:b] for a, b in itertools.pairwise(edges))) == sent


@given(st.binary(max_size=600), st.sampled_from([FROM_HOST, FROM_CONTROLLER]))
def test_any_octets_are_packets_or_refused(data, types):
    framer = Framer(types, 251)
    out = []
    with contextlib.suppress(NotH4):
        for packet in framer.feed(data):
            out.append(packet)
    assert data.startswith(b"".join(out))


@pytest.mark.parametrize("packet", [RESET, ACL, bytes.fromhex("01 00 FC 01 FF")])
def test_an_event_length_is_one_octet_an_acl_length_two(packet):
    assert framed(packet) == [packet]


def test_the_controllers_direction_has_events():
    assert framed(RESET_DONE, types=FROM_CONTROLLER) == [RESET_DONE]


@pytest.mark.parametrize(("kind", "types"), [(0, FROM_HOST), (4, FROM_HOST), (6, FROM_HOST), (1, FROM_CONTROLLER)])
def test_an_octet_that_is_no_type(kind, types):
    with pytest.raises(NotH4, match=f"0x{kind:02X} is not a packet type"):
        framed(bytes((kind,)), types=types)


def test_what_came_before_the_mistake_is_delivered():
    stream = Framer(FROM_HOST, 251).feed(RESET + b"\x7f")
    assert next(stream) == RESET
    with pytest.raises(NotH4):
        next(stream)


def test_an_absurd_length():
    with pytest.raises(NotH4, match="an ACL packet of 252 bytes, where 251 are the most"):
        framed(bytes.fromhex("02 40 00 FC 00"))


def test_the_flags_above_an_iso_length_are_no_length():
    # 14 bits of length (Part E 5.4.5)
    assert framed(bytes.fromhex("05 01 00 01 C0 AA")) == [bytes.fromhex("05 01 00 01 C0 AA")]


def test_a_part_of_a_packet_is_known_as_such():
    framer = Framer(FROM_HOST, 251)
    assert list(framer.feed(RESET[:2])) == []
    assert framer.is_inside
    assert list(framer.feed(RESET[2:])) == [RESET]
    assert not framer.is_inside
