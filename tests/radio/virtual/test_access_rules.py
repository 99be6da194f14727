"""The table of ATT errors (Core Vol 3 Part C 10.3.1): every state of a link against everything that can be needed."""

from itertools import product

import pytest

from benchrig.radio.security import Level, Protection
from benchrig.radio.virtual.access_rules import Needs, refusal
from tests.radio.virtual.bench import OWN, characteristic, problems_of

OPEN, ENCRYPTED, AUTHENTICATED, SECURE = Level
NO_KEY, KEY = (None, False), (None, True)


def link(level, key_size=16):
    return Protection(level >= AUTHENTICATED, level == SECURE, key_size), True


@pytest.mark.parametrize(
    ("needs", "at", "code"),
    [
        (Needs(), NO_KEY, None),
        (Needs(ENCRYPTED), NO_KEY, 0x05),
        (Needs(ENCRYPTED), KEY, 0x0F),
        (Needs(SECURE, 16, authorized=False), NO_KEY, 0x05),
        (Needs(SECURE, 16, authorized=False), KEY, 0x0F),
        (Needs(ENCRYPTED), link(ENCRYPTED), None),
        (Needs(AUTHENTICATED), link(ENCRYPTED), 0x05),
        (Needs(AUTHENTICATED), link(AUTHENTICATED), None),
        (Needs(SECURE), link(AUTHENTICATED), 0x05),
        (Needs(SECURE), link(SECURE), None),
        (Needs(AUTHENTICATED, 16, authorized=False), link(ENCRYPTED, 7), 0x05),
        (Needs(ENCRYPTED, 16, authorized=False), link(SECURE, 15), 0x0C),
        (Needs(ENCRYPTED, 16), link(ENCRYPTED, 16), None),
        (Needs(ENCRYPTED, 7, authorized=False), link(SECURE), 0x08),
        (Needs(authorized=False), NO_KEY, 0x08),
    ],
)
def test_the_table(needs, at, code):
    protection, has_key = at
    assert refusal(needs, protection, has_key=has_key) == code


def test_a_stack_that_does_not_look_for_a_key():
    for needed, has_key in product([ENCRYPTED, AUTHENTICATED, SECURE], [False, True]):
        assert refusal(Needs(needed), None, has_key=has_key, strict=False) == 0x0F
    assert refusal(Needs(AUTHENTICATED), link(ENCRYPTED)[0], has_key=True, strict=False) == 0x05


READ = {"characteristic": OWN(9), "as": "uint8", "value": "7", "properties": "[read]"}


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"write_needs": "encrypted"}, "nobody can write this attribute"),
        ({"subscribe_needs": "encrypted"}, "nobody can subscribe to this attribute"),
        ({"key_size_needed": "16"}, "only an encrypted link has a key"),
        ({"read_needs": "encrypted", "key_size_needed": "6"}, "expected a key size of 7 to 16 octets, found 6"),
        ({"encrypted": "true", "read_needs": "authenticated"}, "'encrypted' and 'read_needs' exclude each other"),
        ({"read_needs": "authentcated"}, "expected one of encrypted, authenticated, secure connections"),
        ({"descriptors": "[{descriptor: user description, value: x, write_needs: encrypted}]"}, "nobody can write"),
    ],
)
def test_needs_that_make_no_sense(keys, said):
    found = problems_of(characteristic(**READ, **keys))
    assert len(found) == 1
    assert said in found[0]
