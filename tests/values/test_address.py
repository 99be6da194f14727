"""Kinds of addresses, and keys that they belong to."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.errors import MalformedValue
from benchrig.values.address import address_octets, address_text, kind_of_random, resolves

# Sample data of the function ah, Core specification Vol 3 Part H appendix D (also in the tests of bumble).
IRK = bytes.fromhex("ec0234a357c8ad05341010a60a397d9b")


def test_the_published_address_resolves():
    assert resolves(IRK, "70:81:94:0D:FB:AA")


@pytest.mark.parametrize(
    "address", ["70:81:94:0D:FB:AB", "70:81:95:0D:FB:AA", "F0:81:94:0D:FB:AA", "30:81:94:0D:FB:AA"]
)
def test_another_address_does_not(address):
    assert not resolves(IRK, address)


def test_another_key_does_not():
    assert not resolves(IRK[::-1], "70:81:94:0D:FB:AA")


# By the two highest bits: Core specification Vol 6 Part B 1.3.2; bumble names them alike.
@pytest.mark.parametrize(
    ("address", "kind"),
    [
        ("C0:11:22:33:44:55", "static"),
        ("70:81:94:0D:FB:AA", "resolvable private"),
        ("3F:FF:FF:FF:FF:FF", "non-resolvable private"),
        ("80:00:00:00:00:01", "reserved"),
        ("c0:11:22:33:44:aa", "static"),
    ],
)
def test_kinds_of_random_addresses(address, kind):
    assert kind_of_random(address) == kind


@pytest.mark.parametrize(
    "address", ["", "C0:11:22:33:44", "C0-11-22-33-44-55", "C0:11:22:33:44:5G", "é0:11:22:33:44:55"]
)
def test_what_is_no_address(address):
    with pytest.raises(MalformedValue, match="not an address"):
        kind_of_random(address)


@pytest.mark.parametrize("key", [b"", IRK[:15], IRK + b"\0"])
def test_what_is_no_key(key):
    with pytest.raises(MalformedValue, match="16 bytes"):
        resolves(key, "70:81:94:0D:FB:AA")


@given(st.binary(min_size=6, max_size=6))
def test_text_and_octets(octets):
    assert address_octets(address_text(octets)) == octets[::-1]
