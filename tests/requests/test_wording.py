"""A request and its text are one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.requests.request import MOST_TIMES, Reconnect, Send, Storm, Together
from benchrig.requests.wording import FORMS, VERBS, request_of, text_of
from benchrig.source.shape import Misfit
from benchrig.values.channels import ATT, SMP

octets = st.one_of(st.binary(max_size=24), st.builds(lambda octet, count: bytes([octet]) * count, st.integers(0, 255), st.integers(1, 520)))  # fmt: skip
begins = st.sampled_from([form.begins for form in FORMS])
sends = st.builds(Send, st.one_of(octets, st.builds(bytes.__add__, begins, octets)), st.sampled_from([4, 4, 5, 6, 1, 0x40, 0xFFFF]))  # fmt: skip
handles, times = st.integers(0, 0xFFFF), st.integers(1, MOST_TIMES)
requests = st.one_of(
    sends,
    st.builds(Together, st.lists(sends, min_size=2, max_size=4).map(tuple)),
    st.builds(Storm, handles, times),
    st.builds(Reconnect, times),
)


@given(requests)
def test_a_request_is_read_back_from_its_text(request):
    text = text_of(request)
    assert request_of(text) == request
    assert "\n" not in text
    assert text_of(request_of(text.lower())) == text


@pytest.mark.parametrize(
    ("text", "request_"),
    [
        ("read 0x0012", Send(b"\x0a\x12\x00")),
        ("read blob 0x0012 at 513", Send(b"\x0c\x12\x00\x01\x02")),
        ("mtu 23", Send(b"\x02\x17\x00")),
        ("write  0x0012  41 42 00*510", Send(b"\x12\x12\x00AB" + bytes(510))),
        ("command 0x0012 -", Send(b"\x52\x12\x00")),
        ("prepare 0x0012 at 3 FF", Send(b"\x16\x12\x00\x03\x00\xff")),
        ("read by type 0x0001-0xFFFF 0328", Send(b"\x08\x01\x00\xff\xff\x03\x28")),
        ("execute", Send(b"\x18\x01")),
        ("att -", Send(b"", ATT)),
        ("smp 05 00", Send(b"\x05\x00", SMP)),
        ("frame 0x0040 01", Send(b"\x01", 0x40)),
        ("together read 0x0003 & execute", Together((Send(b"\x0a\x03\x00"), Send(b"\x18\x01")))),
        ("storm 0x0013 40", Storm(0x13, 40)),
        ("reconnect 10", Reconnect(10)),
    ],
)
def test_texts(text, request_):
    assert request_of(text) == request_


@pytest.mark.parametrize(
    ("text", "message", "advice"),
    [
        ("reed 0x0012", "unknown request 'reed'", "did you mean 'read'?"),
        ("", "unknown request ''", "choose one of: att, cancel"),
        ("read 12", "'read 12' is not a read request", "for example: read 0x0012"),
        ("read 0x0012 at 3", "'read 0x0012 at 3' is not a read request", "for example: read 0x0012"),
        ("read blob 0x0012", "is not a read blob request", "for example: read blob 0x0012 at 513"),
        ("mtu 70000", "'70000' has more than 16 bits", "write 0 to 65535"),
        ("write 0x0012", "is not a write request", "for example: write 0x0012 01 02"),
        ("write 0x0012 4", "expected octets as hex, found '4'", "for example: 01 02 00*510, or -"),
        ("att 00*2000", "expected 1 to 1024 octets as hex, found 2000 octets", "for example"),
        ("att", "expected 1 to 1024 octets as hex, found nothing", "for example"),
        ("frame 64 01", "is not a frame request", "for example: frame 0x0040 01 02"),
        ("together read 0x0003", "is not a together request", "for example: together"),
        ("together reconnect 3 & execute", "is not a together request", "for example: together"),
        ("storm 0x0013", "is not a storm request", "for example: storm 0x0013 40"),
        ("reconnect 0", "'reconnect 0' is not a reconnect request", "for example: reconnect 10"),
    ],
)
def test_what_is_no_request(text, message, advice):
    with pytest.raises(Misfit) as caught:
        request_of(text)
    assert message in caught.value.message
    assert advice in caught.value.advice


def test_every_verb_is_in_the_reference():
    from tests.reference import SECTIONS, words

    rows = {words(row["request"])[0]: words(row["example"])[0] for row in SECTIONS["Requests as text"].table("request")}
    assert rows.keys() == {*VERBS}
    assert all(text_of(request_of(example)) == example for example in rows.values())
