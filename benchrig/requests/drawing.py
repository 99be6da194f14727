"""Requests of each kind, drawn from a seed for one device.

A kind is a function from what is known of the device to cases: short lists of requests that belong together. It draws none
where the plan lets it touch nothing that it needs.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import TypeAlias

from benchrig.requests.request import Reconnect, Request, Send, Storm, Together
from benchrig.requests.right import LEAST_MTU, LONGEST_VALUE
from benchrig.requests.table import Attribute, Target
from benchrig.values.channels import SIGNALLING, SMP, SMP_LENGTHS

Case: TypeAlias = Sequence[Request]
Kind: TypeAlias = Callable[[Target, random.Random], Iterator[Case]]

_HEADER, _PART_HEADER = 3, 5  # octets before the value of a write request, and of a part of a prepared one
_LONGEST = (LONGEST_VALUE, LONGEST_VALUE + 1)
_MTU, _FIND, _FIND_VALUE, _BY_TYPE, _READ, _BLOB, _GROUP = 0x02, 0x04, 0x06, 0x08, 0x0A, 0x0C, 0x10
_WRITE, _COMMAND, _PREPARE, _EXECUTE = 0x12, 0x52, 0x16, 0x18
EXECUTE, CANCEL = Send(bytes((_EXECUTE, 1))), Send(bytes((_EXECUTE, 0)))
_SERVICES, _CHARACTERISTICS = b"\x00\x28", b"\x03\x28"
# Requests that the specification defines, answers and updates (Core Vol 3 Part F 3.4.8)
_KNOWN = {*range(0x01, 0x14), *range(0x16, 0x1A), 0x1B, 0x1D, 0x1E, 0x20, 0x21, 0x23, 0x52, 0xD2}
_UNKNOWN = sorted({*range(0x100)} - _KNOWN)


def _pdu(opcode: int, *numbers: int, rest: bytes = b"") -> Send:
    return Send(bytes((opcode,)) + b"".join(number.to_bytes(2, "little") for number in numbers) + rest)


def _noise(rng: random.Random, most: int) -> bytes:
    return rng.randbytes(rng.randint(0, most))


# --- values


def lengths(target: Target, rng: random.Random) -> Iterator[Case]:
    """Writes of no octet, of one fewer and one more than the value has, of 512 and of 513: in parts what the MTU does not carry."""
    for one in target.written:
        yield from ([_pdu(_WRITE, one.handle, rest=_of_length(one, length))] for length in _lengths(one, target))
        yield from (_in_parts(one, length, target) for length in _LONGEST if length > target.mtu - _HEADER)
    for one in target.commanded:
        yield from ([_pdu(_COMMAND, one.handle, rest=_of_length(one, length))] for length in _lengths(one, target))
    yield from ([_pdu(_WRITE, one.handle, rest=one.value or b"")] for one in target.closed if _fits(one, target))


def _lengths(one: Attribute, target: Target) -> list[int]:
    size = len(one.value or b"")
    wanted = {0, 1, size - 1, size, size + 1, *_LONGEST}
    return sorted(length for length in wanted if 0 <= length <= target.mtu - _HEADER)


def _in_parts(one: Attribute, length: int, target: Target) -> Case:
    value, size = _of_length(one, length), target.mtu - _PART_HEADER
    return [*(_part(one, offset, value[offset : offset + size]) for offset in range(0, length, size)), EXECUTE]


def _of_length(one: Attribute, length: int) -> bytes:
    """The value that is there, cut off or filled up."""
    return (one.value or b"")[:length].ljust(length, b"\x00")


def _fits(one: Attribute, target: Target) -> bool:
    return len(one.value or b"") <= target.mtu - _HEADER


def offsets(target: Target, rng: random.Random) -> Iterator[Case]:
    """Reads from the end of a value on, and far behind it."""
    for one in target.readable:
        size = len(one.value or b"")
        for offset in (size, size + 1, LONGEST_VALUE, LONGEST_VALUE + 1, 0xFFFF):
            yield [_pdu(_BLOB, one.handle, offset)]


def prepared(target: Target, rng: random.Random) -> Iterator[Case]:
    """Parts of a value in odd order, executed twice, cancelled, forgotten; and an execution of nothing."""
    yield [EXECUTE]
    yield [CANCEL, CANCEL]
    yield [Send(bytes((_EXECUTE, rng.choice((2, 0x80, 0xFF))))), CANCEL]
    for one in target.closed:
        if _fits(one, target):
            yield [_part(one, 0, one.value or b""), CANCEL]
    for one in target.written:
        yield from _parts(one, target)


def _parts(one: Attribute, target: Target) -> Iterator[Case]:
    value = (one.value or b"")[: target.mtu - _PART_HEADER]
    half = len(value) // 2
    first, second = _part(one, 0, value[:half]), _part(one, half, value[half:])
    yield [first, second, EXECUTE]
    yield [second, first, EXECUTE]
    yield [_part(one, 1, value[1:]), CANCEL]
    yield [_part(one, 1, value[1:]), EXECUTE]
    yield [first, first, second, EXECUTE]
    yield [_part(one, 0, value), EXECUTE, EXECUTE]
    yield [_part(one, 0, value), CANCEL, EXECUTE]
    yield [_part(one, 0, value), Reconnect(1)]
    yield from ([_part(one, offset, b"\x00"), CANCEL] for offset in (LONGEST_VALUE, LONGEST_VALUE + 1, 0xFFFF))


def _part(one: Attribute, offset: int, octets: bytes) -> Send:
    return _pdu(_PREPARE, one.handle, offset, rest=octets)


# --- what is no request


def opcodes(target: Target, rng: random.Random) -> Iterator[Case]:
    """Opcodes that nobody has defined; those of commands among them."""
    yield from ([Send(bytes((opcode,)) + _noise(rng, 20))] for opcode in rng.sample(_UNKNOWN, 16))


def truncated(target: Target, rng: random.Random) -> Iterator[Case]:
    """Requests that end too early, or go on too long; and nothing at all."""
    yield [Send(b"")]
    for whole in _whole(target):
        yield from ([Send(whole.octets[:length])] for length in range(1, len(whole.octets)))
    # what is too long is read as a value where a request has one
    yield from (
        [Send(whole.octets + _noise(rng, 8) + b"\x00")] for whole in _whole(target) if whole.octets[0] in _FIXED
    )


_FIXED = {_FIND, _READ, _BLOB}


def _whole(target: Target) -> Iterator[Send]:
    """One request each, up to where its length is no longer fixed."""
    handle, written = _free_handle(target), target.written[0].handle if target.written else target.missing[0]
    yield _pdu(_MTU, target.mtu)
    yield _pdu(_FIND, 0x0001, 0xFFFF)
    yield _pdu(_FIND_VALUE, 0x0001, 0xFFFF, rest=_SERVICES)
    yield _pdu(_BY_TYPE, 0x0001, 0xFFFF, rest=_CHARACTERISTICS)
    yield _pdu(_GROUP, 0x0001, 0xFFFF, rest=_SERVICES)
    yield from (_pdu(_READ, handle), _pdu(_WRITE, written), _pdu(_BLOB, handle, 0), _pdu(_PREPARE, written, 0))
    yield CANCEL


def _free_handle(target: Target) -> int:
    """A handle whose attribute may be read."""
    return target.readable[0].handle if target.readable else 0x0001


def responses(target: Target, rng: random.Random) -> Iterator[Case]:
    """Answers to nothing that was asked, and a confirmation of nothing."""
    handle = _free_handle(target).to_bytes(2, "little")
    for opcode in (0x03, 0x05, 0x09, 0x0B, 0x0D, 0x11, 0x13, 0x17, 0x19, 0x1B, 0x1D, 0x1E, 0x21, 0x23):
        yield [Send(bytes((opcode,)) + _noise(rng, 20))]
    yield [Send(b"\x01\x0a" + handle + b"\x0a")]


# --- odd requests


def overlapping(target: Target, rng: random.Random) -> Iterator[Case]:
    """A second request before the answer to the first."""
    find = _pdu(_FIND, 0x0001, 0xFFFF)
    yield [Together((find, find))]
    for one in target.readable:
        yield [Together((_pdu(_READ, one.handle), find))]
        yield [Together((find, _pdu(_READ, one.handle)))]


def mtu(target: Target, rng: random.Random) -> Iterator[Case]:
    """A second exchange of the MTU, with sizes that there are and sizes that there are not."""
    sizes = [LEAST_MTU, 24, rng.randint(25, 516), 517, 0xFFFF]
    for wrong in (0, LEAST_MTU - 1):
        yield [_pdu(_MTU, wrong), Reconnect(1)]
    yield [*(_pdu(_MTU, size) for size in rng.sample(sizes, 3)), Reconnect(1)]


def handles(target: Target, rng: random.Random) -> Iterator[Case]:
    """Handles that are not there, 0 and 0xFFFF among them; ranges that begin behind their end."""
    for handle in (0, *target.missing):
        yield [_pdu(_READ, handle)]
        yield [_pdu(_BLOB, handle, 0)]
        yield [_pdu(_WRITE, handle, rest=b"\x00")]
        yield [_pdu(_PREPARE, handle, 0, rest=b"\x00"), CANCEL]
    for first, last in ((0, 0xFFFF), (0, 0), (2, 1), (0xFFFF, 1), (0xFFFF, 0xFFFF)):
        yield [_pdu(_FIND, first, last)]
        yield [_pdu(_BY_TYPE, first, last, rest=_CHARACTERISTICS)]
        yield [_pdu(_GROUP, first, last, rest=_SERVICES)]
        yield [_pdu(_FIND_VALUE, first, last, rest=_SERVICES + b"\x00\x18")]


def uuids(target: Target, rng: random.Random) -> Iterator[Case]:
    """Types of sizes that no UUID has, and of services that are none."""
    for size in (0, 1, 3, 4, 15, 17):
        yield [_pdu(_BY_TYPE, 0x0001, 0xFFFF, rest=rng.randbytes(size))]
        yield [_pdu(_GROUP, 0x0001, 0xFFFF, rest=rng.randbytes(size))]
    yield [_pdu(_BY_TYPE, 0x0001, 0xFFFF, rest=rng.randbytes(16))]
    yield [_pdu(_GROUP, 0x0001, 0xFFFF, rest=_CHARACTERISTICS)]
    yield [_pdu(_FIND_VALUE, 0x0001, 0xFFFF, rest=_SERVICES + rng.randbytes(rng.choice((1, 3, 17))))]


def subscriptions(target: Target, rng: random.Random) -> Iterator[Case]:
    """Subscriptions on and off in quick succession; configurations with reserved bits, or of another size."""
    for one in target.configurations:
        off = _pdu(_WRITE, one.handle, rest=b"\x00\x00")
        yield [Storm(one.handle, rng.choice((10, 20, 50)))]
        yield from ([_pdu(_WRITE, one.handle, rest=bits), off] for bits in (b"\x04\x00", b"\x03\x00", b"\xff\xff"))
        yield from ([_pdu(_WRITE, one.handle, rest=wrong), off] for wrong in (b"", b"\x00", b"\x00\x00\x00"))


def connections(target: Target, rng: random.Random) -> Iterator[Case]:
    """The link ended and made again, at once."""
    yield [Reconnect(rng.choice((3, 5, 10)))]


# --- other channels


def channels(target: Target, rng: random.Random) -> Iterator[Case]:
    """Frames for channels that are not there."""
    for channel in (0x0001, 0x0002, 0x0007, 0x003A, 0x0040, 0x0041, 0x007F, 0xFFFF):
        yield [Send(_noise(rng, 32), channel)]


def pairing(target: Target, rng: random.Random) -> Iterator[Case]:
    """SMP packets out of order, too short, with codes and reasons that are reserved (Core Vol 3 Part H 3.3)."""
    for code in (0x03, 0x04, 0x0C, 0x0D, 0x0E, 0x06, 0x07, 0x08, 0x09, 0x0A):
        size = SMP_LENGTHS[code]
        yield [Send(bytes((code,)) + rng.randbytes(size - 1), SMP)]
        yield [Send(bytes((code,)) + rng.randbytes(rng.randint(0, size - 2)), SMP)]
    yield from ([Send(bytes((code,)) + _noise(rng, 20), SMP)] for code in (0x00, 0x0F, 0x40, 0xFF))
    yield from ([Send(bytes((0x05, reason)), SMP)] for reason in (0x00, 0x10, 0xFF))
    yield [Send(b"\x05", SMP)]
    yield [Send(b"", SMP)]
    # a Pairing Request with a key of 6 octets (2.3.4: 7 to 16), with an IO capability that is reserved, and too short
    for request in (b"\x01\x03\x00\x00\x06\x00\x00", b"\x01\x09\x00\x00\x10\x00\x00", b"\x01\x03\x00"):
        yield [Send(request, SMP), Send(b"\x05\x08", SMP)]


def signalling(target: Target, rng: random.Random) -> Iterator[Case]:
    """Signalling packets with codes that are reserved, with lengths that are not true, and too short."""
    for code in (0x00, 0x02, 0x04, 0x08, 0x0C, 0x1B, 0x20, 0xFF):
        yield [_signal(code, rng.randbytes(4))]
    yield [_signal(0x12, b"\x06\x00")]
    yield [_signal(0x14, rng.randbytes(5))]
    yield [Send(bytes((0x12, 1, 0xFF, 0x00)) + rng.randbytes(8), SIGNALLING)]
    yield from ([Send(rng.randbytes(size), SIGNALLING)] for size in (0, 1, 3))
    yield [_signal(0x13, b"\x00\x00")]


def _signal(code: int, octets: bytes) -> Send:
    return Send(bytes((code, 1)) + len(octets).to_bytes(2, "little") + octets, SIGNALLING)


KINDS: Mapping[str, Kind] = {
    kind.__name__: kind
    for kind in (
        lengths, offsets, prepared, opcodes, truncated, responses, overlapping, mtu, handles, uuids, subscriptions,
        connections, channels, pairing, signalling,
    )
}  # fmt: skip


# Of so many turns through the kinds one has it: a link takes as long as dozens of requests.
_SELDOM = {"connections": 4}


def drawn(target: Target, kinds: Collection[str], rng: random.Random) -> Iterator[tuple[str, Case]]:
    """Cases with their kinds, without end: each kind in turn, each case of a kind before one comes again, short ones first.
    Ends at once where no kind has any."""
    decks = {name: list[Case]() for name in able(target, kinds, rng)}
    for turn in itertools.count() if decks else ():
        order = [name for name in decks if turn % _SELDOM.get(name, 1) == 0]
        rng.shuffle(order)
        for name in order:
            if not decks[name]:
                decks[name] = list(KINDS[name](target, rng))
                rng.shuffle(decks[name])
                decks[name].sort(key=len, reverse=True)
            yield name, decks[name].pop()


def able(target: Target, kinds: Collection[str], rng: random.Random) -> list[str]:
    """Those of the kinds that have something to send to the device."""
    return [name for name in KINDS if name in kinds and any(KINDS[name](target, rng))]
