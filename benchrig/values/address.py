"""Device addresses: their kinds, and which key a resolvable private one belongs to (Core Vol 6 Part B 1.3)."""

from __future__ import annotations

import re
from typing import Literal

from benchrig.errors import MalformedValue

KEY_SIZE = 16
RandomKind = Literal["static", "resolvable private", "non-resolvable private", "reserved"]

_ADDRESS = re.compile(r"[0-9A-Fa-f]{2}(:[0-9A-Fa-f]{2}){5}")
# by the two highest bits of the octet that is printed first
_KINDS: tuple[RandomKind, ...] = ("non-resolvable private", "resolvable private", "reserved", "static")


def address_octets(address: str) -> bytes:
    """The six octets in the order in which they are printed. Raises MalformedValue."""
    if not _ADDRESS.fullmatch(address):
        raise MalformedValue(f"'{address[:40]}' is not an address", advice="for example: C0:11:22:33:44:55")
    return bytes.fromhex(address.replace(":", ""))


def address_text(octets: bytes) -> str:
    """Six octets in air order as text."""
    return octets[::-1].hex(":").upper()


def kind_of_random(address: str) -> RandomKind:
    """What kind of random address it is. Raises MalformedValue."""
    return _KINDS[address_octets(address)[0] >> 6]


def resolves(irk: bytes, address: str) -> bool:
    """Whether a resolvable private address was made with this identity resolving key (16 octets, the most significant
    first). False for addresses of other kinds; MalformedValue for what is no key or no address."""
    if len(irk) != KEY_SIZE:
        raise MalformedValue(f"an identity resolving key has {KEY_SIZE} bytes, found {len(irk)}")
    octets = address_octets(address)
    return octets[0] >> 6 == 1 and _hash(irk, octets[:3]) == octets[3:]


def resolvable(irk: bytes, random_part: bytes) -> str:
    """The resolvable private address of this key with these three octets, whose top bits are 01 (Core Vol 6 Part B 1.3.2.2)."""
    return (random_part + _hash(irk, random_part)).hex(":").upper()


def _hash(irk: bytes, random_part: bytes) -> bytes:
    """The function ah: the lowest 24 bits of the padded random part, encrypted (Core Vol 3 Part H 2.2.2)."""
    from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes

    encryptor = Cipher(algorithms.AES(irk), modes.ECB()).encryptor()  # one block: no chaining is needed
    return encryptor.update(random_part.rjust(16, b"\0"))[-3:]
