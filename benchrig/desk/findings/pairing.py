"""How a device pairs, and what it protects by that: of an inspection that has paired."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family
from benchrig.desk.inspection import CharacteristicSeen, Inspection
from benchrig.desk.paths import Standing
from benchrig.errors import MalformedValue
from benchrig.radio.security import LARGEST_KEY, SMALLEST_KEY
from benchrig.steps.pairing_readings import failure_words
from benchrig.values.address import address_octets, kind_of_random

FAMILY = Family("pairing")
_SMP = "Core specification Vol 3 Part H"
_WHERE = "pairing"

# IO capabilities (table 2.5), and the bits of the other octets that are reserved (3.5.1, 3.6.1)
_CAPABILITIES = ("a display", "a display and yes/no", "a keyboard", "", "a keyboard and a display")
_RESERVED_REQUIREMENTS = 0xC0
_RESERVED_BONDING = 0x02
_RESERVED_KEYS = 0xF0
SERIAL_NUMBER = 0x2A25
# What is shorter is in too much else by chance.
_SHORTEST, _SHORTEST_VALUE = 4, 2


@FAMILY.rule("note", f"{_SMP} 3.5.5")
def pairing_failed(look: Look) -> Iterator[Broken]:
    """The device was not paired with, so what needs that was not judged."""
    seen = look.seen.security
    if seen is not None and seen.failure:
        yield Broken(_WHERE, f"pairing as {seen.capability} failed: {failure_words(seen.failure, seen.failed_by)}")


@FAMILY.rule("error", f"{_SMP} 2.3.4, 3.5.2 and 3.6.1")
def pairing_response(look: Look) -> Iterator[Broken]:
    """A value of the pairing response is reserved or out of its range."""
    seen = look.seen.security.features if look.seen.security else None
    if seen is None:
        return
    if seen.io_capability >= len(_CAPABILITIES):
        yield Broken(_WHERE, f"the input and output capability 0x{seen.io_capability:02X} is reserved")
    if seen.oob > 1:
        yield Broken(_WHERE, f"the flag for out-of-band data is 0x{seen.oob:02X}, expected 0x00 or 0x01")
    if seen.auth_req & (_RESERVED_REQUIREMENTS | _RESERVED_BONDING):
        yield Broken(_WHERE, f"the authentication requirements 0x{seen.auth_req:02X} have reserved bits")
    if not SMALLEST_KEY <= seen.key_size <= LARGEST_KEY:
        sentence = f"the largest key has {seen.key_size} bytes, expected {SMALLEST_KEY} to {LARGEST_KEY}"
        yield Broken(_WHERE, sentence)
    if (seen.initiator_keys | seen.responder_keys) & _RESERVED_KEYS:
        yield Broken(_WHERE, "the octets that say which keys are given have reserved bits")


@FAMILY.rule("warning", f"{_SMP} 2.3.5.2 and 2.3.5.3")
def legacy_pairing(look: Look) -> Iterator[Broken]:
    """Pairing without Secure Connections: who listens to it learns the keys."""
    seen = look.seen.security
    if seen is not None and not seen.failure and seen.secure_connections is False:
        yield Broken(_WHERE, "the device pairs without Secure Connections: who listens to the pairing learns the keys")


@FAMILY.rule("warning", f"{_SMP} 2.3.4")
def short_key(look: Look) -> Iterator[Broken]:
    """An encryption key of less than 16 bytes."""
    seen = look.seen.security
    if seen is not None and not seen.failure and seen.key_size and seen.key_size < LARGEST_KEY:
        yield Broken(_WHERE, f"the key has {seen.key_size} bytes, and {LARGEST_KEY} were offered")


@FAMILY.rule("warning", f"{_SMP} 2.3.5.6.3")
def fixed_passkey(look: Look) -> Iterator[Broken]:
    """Two pairings had the same passkey: a fixed one is found out in a few attempts."""
    if look.seen.security is not None and look.seen.security.same_passkey:
        sentence = "two pairings had the same passkey: each attempt tells an attacker more of a fixed one"
        yield Broken(_WHERE, sentence)


@FAMILY.rule("note", f"{_SMP} 2.3.5.1, table 2.8")
def just_works(look: Look) -> Iterator[Broken]:
    """Pairing by just works with a device that can show or type a number."""
    seen = look.seen.security
    if seen is None or seen.failure or seen.method != "just works" or seen.features is None:
        return
    if means := dict(enumerate(_CAPABILITIES)).get(seen.features.io_capability, ""):
        advice = "pair as another capability to see what it protects" if seen.capability == "none" else ""
        sentence = f"paired by just works, which protects from nobody in the middle; the device says it has {means}"
        yield Broken(_WHERE, f"{sentence}: {advice}" if advice else sentence)


@FAMILY.rule("warning", "Core specification Vol 3 Part F 3.2.5")
def open_write(look: Look) -> Iterator[Broken]:
    """Written without security, though reading needs some."""
    for standing, seen in look.characteristics():
        if seen.written_open:
            yield Broken(standing.path, "the device takes a write without security, and reading needs some")


@FAMILY.rule("warning", "Core specification Vol 3 Part F 3.2.5")
def open_twin(look: Look) -> Iterator[Broken]:
    """The value of an attribute that needs security is read without any elsewhere."""
    alike: dict[tuple[str, str], list[tuple[Standing, CharacteristicSeen]]] = defaultdict(list)
    for standing, seen in look.characteristics():
        if seen.content is not None and len(seen.content.data) >= _SHORTEST_VALUE:
            alike[seen.uuid, seen.content.raw].append((standing, seen))
    for twins in alike.values():
        guarded = [standing.path for standing, seen in twins if seen.guarded]
        for standing, seen in twins:
            if guarded and not seen.guarded:
                yield Broken(standing.path, f"it is read without security, and has the value that {guarded[0]} guards")


@FAMILY.rule("warning", "Core specification Vol 3 Part C 10.7")
def tracked_by_advertising(look: Look) -> Iterator[Broken]:
    """A device with a private address advertises what is its own alone: it can be tracked all the same."""
    seen = look.seen
    if not _is_private(seen):
        return
    heard = bytes.fromhex((seen.advertising.payload or "") + (seen.advertising.scan_response or ""))
    heard += seen.advertising.name.encode()
    for what, marks in _own(look):
        if any(mark in heard for mark in marks):
            yield Broken("advertising", f"the address is private, and the advertising holds {what} of the device")


def _is_private(seen: Inspection) -> bool:
    try:
        return seen.address_type == "random" and kind_of_random(seen.address) != "static"
    except MalformedValue:  # an operating system may have another name for it
        return False


def _own(look: Look) -> Iterator[tuple[str, list[bytes]]]:
    """What no other device has, in the forms in which it may be advertised."""
    identity = look.seen.security.identity_address if look.seen.security else ""
    if identity:
        octets = address_octets(identity)
        text = octets.hex()
        marks = [octets, octets[::-1], *(form.encode() for form in (text, text.upper(), identity))]
        yield "the identity address", marks
    serial = look.content(SERIAL_NUMBER)
    if serial is not None and len(serial.data) >= _SHORTEST:
        yield "the serial number", [serial.data]
