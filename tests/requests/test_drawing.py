"""What is drawn for a device: all that a kind promises, nothing that the plan does not allow."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import islice

import pytest

from benchrig.requests.drawing import EXECUTE, KINDS, able, drawn
from benchrig.requests.request import Reconnect, Send, Storm, Together
from benchrig.requests.wording import text_of
from tests.requests.kit import HIDDEN, KEPT, LABEL, LEVEL_CONFIGURATION, LIMIT, SERIAL, target


def all_of(kind, of=None, seed=1):
    return [[*case] for case in KINDS[kind](of or target(), random.Random(seed))]


def texts(kind, of=None):
    return {text_of(request) for case in all_of(kind, of) for request in case}


def handles_of(request):
    """All that a request names, wherever it could be read as a handle."""
    if isinstance(request, Together):
        return {handle for part in request.parts for handle in handles_of(part)}
    if isinstance(request, Storm):
        return {request.handle}
    named = isinstance(request, Send) and request.channel == 4 and request.octets[:1] in b"\x0a\x0c\x12\x16\x52\xd2"
    return {int.from_bytes(request.octets[1:3], "little")} if named and len(request.octets) >= 3 else set()


@pytest.mark.parametrize("seed", range(20))
def test_nothing_is_drawn_that_the_plan_does_not_allow(seed):
    of = target(writable=(LIMIT,))
    for _, case in islice(drawn(of, KINDS, random.Random(seed)), 400):
        for request in case:
            assert KEPT not in handles_of(request), text_of(request)
            assert of.misfit(request) == ""
            octets = request.octets if isinstance(request, Send) and request.channel == 4 else b""
            if octets[:1] in (b"\x12", b"\x16", b"\x52") and len(octets) >= 3:
                assert handles_of(request) & {LIMIT, LEVEL_CONFIGURATION, *of.missing, 0} or octets.endswith(
                    of.attributes[max(handles_of(request))].value
                ), "what takes no write gets its own value"


def test_a_request_that_ends_too_early_names_nothing_that_must_not_be_written():
    first = target().readable[0].handle
    of = target(writable=(LIMIT,)) if first != LIMIT else target(writable=(LABEL,))
    for request in (request for case in all_of("truncated", of) for request in case):
        assert of.misfit(request) == ""
        if request.octets[:1] == b"\x16" and len(request.octets) >= 3:
            assert handles_of(request) <= {*of.writable}
    bare = target(writable=())
    prepared = [one for case in all_of("truncated", bare) for one in case if one.octets[:1] == b"\x16"]
    assert {handle for one in prepared for handle in handles_of(one)} <= {*bare.missing}


def test_a_value_that_the_mtu_does_not_carry_is_sent_in_parts():
    of = replace(target(), mtu=23)
    cases = [case for case in all_of("lengths", of) if case[-1] == EXECUTE]
    assert {sum(len(part.octets) - 5 for part in case[:-1]) for case in cases} == {512, 513}
    assert all(len(request.octets) <= 23 for case in all_of("lengths", of) for request in case)


def test_the_same_seed_draws_the_same():
    first, again, other = ([*islice(drawn(target(), KINDS, random.Random(seed)), 200)] for seed in (3, 3, 4))
    assert first == again != other


def test_every_kind_comes_in_turn():
    kinds = [kind for kind, _ in islice(drawn(target(), KINDS, random.Random(1)), 300)]
    assert {*kinds} == {*KINDS}
    assert kinds.count("connections") < kinds.count("lengths") / 3
    assert {kind for kind, _ in islice(drawn(target(), ["connections"], random.Random(1)), 5)} == {"connections"}


def test_a_kind_without_anything_to_send_is_known_before():
    bare = target(writable=(), protected=(*range(1, 20),))
    rest = {*KINDS} - {"lengths", "offsets", "subscriptions"}
    assert {*able(bare, KINDS, random.Random(1))} == rest
    assert [*drawn(bare, ["lengths"], random.Random(1))] == []


def test_a_state_that_others_would_meet_is_left_behind_by_no_case():
    """Parts that wait, a size that was agreed on, a subscription: the case itself ends them, or the link."""
    for case in all_of("prepared"):
        if any(isinstance(each, Send) and each.octets[0] == 0x16 for each in case):
            assert case[-1] == Reconnect(1) or case[-1].octets[0] == 0x18
    assert all(case[-1] == Reconnect(1) for case in all_of("mtu"))
    for case in all_of("subscriptions"):
        assert isinstance(case[-1], Storm) or case[-1].octets[3:] == b"\0\0"


SENT = {
    "lengths": ["write 0x0008 -", "write 0x0008 01", "write 0x0008 01 02 00", f"command 0x0008 01 02 00*{511}", "write 0x000A 68 65 6C 6C 6F 00*507"],
    "offsets": ["read blob 0x000F at 60", "read blob 0x000F at 61", "read blob 0x000F at 513", "read blob 0x000F at 65535"],
    "prepared": ["execute", "prepare 0x000A at 1 65 6C 6C 6F", "prepare 0x000A at 513 00"],
    "truncated": ["att -", "att 0A", "att 12 08", "att 16 08 00 00", "att 02 05"],
    "responses": ["att 01 0A 08 00 0A"],
    "overlapping": ["together find information 0x0001-0xFFFF & find information 0x0001-0xFFFF"],
    "mtu": ["mtu 0", "mtu 22"],
    "handles": ["read 0x0000", "read 0xFFFF", "find information 0x0002-0x0001", "write 0x0014 00"],
    "uuids": ["read by type 0x0001-0xFFFF -", "read by group 0x0001-0xFFFF 03 28"],
    "subscriptions": ["write 0x000D FF FF", "write 0x000D 00 00 00", "write 0x000D -"],
    "pairing": ["smp 05 00", "smp -", "smp 01 03 00"],
    "signalling": ["signal 13 01 02 00 00 00", "signal -"],
}  # fmt: skip


@pytest.mark.parametrize("kind", SENT)
def test_what_a_kind_sends(kind):
    missing = {*SENT[kind]} - texts(kind)
    assert not missing, sorted(texts(kind))


def test_a_write_of_more_than_the_link_carries_is_left_out():
    assert max(len(each.octets) for case in all_of("lengths", target(mtu=64)) for each in case) <= 64


def test_the_channels_that_are_not_there():
    sent = {request.channel for case in all_of("channels") for request in case}
    assert {0x0040, 0x0001, 0xFFFF} <= sent
    assert not sent & {4, 5, 6}


def test_unknown_opcodes_are_unknown():
    opcodes = {request.octets[0] for seed in range(30) for case in all_of("opcodes", seed=seed) for request in case}
    assert len(opcodes) > 200
    assert not opcodes & {0x01, 0x0A, 0x12, 0x18, 0x1B, 0x20, 0x23, 0x52, 0xD2}


def test_what_a_request_may_not_do():
    of = target(writable=(LIMIT,))
    assert of.misfit(Send(b"\x12\x0a\x00\x01")) == "it writes label, which writes: does not name"
    assert of.misfit(Send(bytes((0x0A, KEPT, 0)))) == "it names kept, which is protected"
    assert of.misfit(Together((Send(b"\x0a\x08\x00"), Send(b"\x16\x0a\x00\0\0")))).startswith("it writes label")
    assert of.misfit(Storm(KEPT, 3)) == "it names kept, which is protected"
    for harmless in (Send(bytes((0x12, LIMIT, 0, 1))), Send(b""), Reconnect(2), Send(bytes((0x0A, LABEL, 0)))):
        assert of.misfit(harmless) == ""
    assert of.misfit(Send(bytes((0x12, SERIAL, 0, 1)))) == of.misfit(Send(bytes((0x12, HIDDEN, 0, 1)))) == ""
