"""Which answers to a request are right. Where the specification leaves a choice, all of them are.

Sections are those of Core Vol 3: Part F (ATT), Part A (L2CAP), Part H (SMP).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from benchrig.requests.table import Attribute, Target
from benchrig.values.att_errors import (
    INSUFFICIENT,
    INSUFFICIENT_RESOURCES,
    INVALID_HANDLE,
    INVALID_LENGTH,
    INVALID_OFFSET,
    INVALID_PDU,
    NOT_FOUND,
    NOT_LONG,
    QUEUE_FULL,
    READ_NOT_PERMITTED,
    REQUEST_NOT_SUPPORTED,
    UNLIKELY_ERROR,
    UNSUPPORTED_GROUP,
    VALUE_NOT_ALLOWED,
    WRITE_NOT_PERMITTED,
)
from benchrig.values.catalogue import att_error_name
from benchrig.values.channels import SIGNALLING, SMP

ERROR = 0x01
# An application's own (0x80-0x9F), and the common ones of profiles and services (Core Specification Supplement, Part B)
OF_APPLICATION = frozenset({*range(0x80, 0xA0), *range(0xE0, 0x100)})
# What a write of an odd value may meet where it is allowed
OF_VALUE = INSUFFICIENT | OF_APPLICATION | {INVALID_LENGTH, VALUE_NOT_ALLOWED, INSUFFICIENT_RESOURCES, INVALID_OFFSET}

LONGEST_VALUE = 512  # 3.2.9
LEAST_MTU = 23
_COMMAND, _SIGNED = 0x40, 0x80  # bits of an opcode (3.3.1)
_UUID_SIZES = (2, 16)
_PRIMARY, _SECONDARY = b"\x00\x28", b"\x01\x28"
CONFIGURATION = 2  # octets of a CCCD (Part G 3.3.3.3)


# Part F 3.4.8
_NAMES = {
    0x03: "exchange mtu response", 0x05: "find information response", 0x07: "find by type value response",
    0x09: "read by type response", 0x0B: "read response", 0x0D: "read blob response", 0x0F: "read multiple response",
    0x11: "read by group type response", 0x13: "write response", 0x17: "prepare write response",
    0x19: "execute write response", 0x1B: "notification", 0x1D: "indication", 0x1E: "confirmation",
    0x21: "read multiple variable response",
}  # fmt: skip


def _name(opcode: int) -> str:
    """'a write response'."""
    name = _NAMES.get(opcode, f"response 0x{opcode:02X}")
    return f"{'an' if name[0] in 'aei' else 'a'} {name}"


def _found(answer: bytes) -> str:
    """'a write response (13)'; the octets alone of what has no name."""
    return f"{_name(answer[0])} ({shown(answer)})" if answer and answer[0] in _NAMES else shown(answer)


@dataclass(frozen=True)
class Right:
    """Of the request with this opcode: `responses` are the opcodes of right answers, `errors` the ATT errors. It may stay
    unanswered (`silence`). A response has to `echo` these octets."""

    responses: frozenset[int] = frozenset()
    errors: frozenset[int] = frozenset()
    silence: bool = False
    echo: bytes = b""
    opcode: int = 0

    @property
    def in_words(self) -> str:
        said = [_name(opcode) for opcode in sorted(self.responses)]
        said += sorted(att_error_name(code) for code in self.errors - OF_APPLICATION - INSUFFICIENT)
        said += ["a security error"] if self.errors & INSUFFICIENT else []
        said += ["an application error"] if self.errors & OF_APPLICATION else []
        return " or ".join([*said, *(["no answer"] if self.silence else [])])


def _right(*responses: int, errors: frozenset[int] | set[int] = frozenset(), echo: bytes = b"") -> Right:
    return Right(frozenset(responses), frozenset(errors), echo=echo)


SILENT = Right(silence=True)


# --- ATT


def right_of(octets: bytes, target: Target) -> Right:
    """Of an ATT PDU; that opcode is what an error response has to name."""
    if not octets:
        return Right(errors=frozenset({INVALID_PDU, REQUEST_NOT_SUPPORTED}), silence=True)  # left open
    opcode = octets[0]
    if opcode & _COMMAND:
        return SILENT  # 3.3: a command has no answer; one that is not known is ignored
    form = _REQUESTS.get(opcode)
    found = _unasked(opcode) if form is None else form.right(octets, target)
    return Right(found.responses, found.errors, found.silence, found.echo, opcode)


@dataclass(frozen=True)
class _Form:
    """Of a request: its response, its least length and its greatest (0: that of the MTU), what is right for a
    well-formed one. An `optional` one may be not supported (Part G 4.2)."""

    response: int
    least: int
    most: int
    of: Callable[[bytes, Target], Right]
    optional: bool = False

    def right(self, octets: bytes, target: Target) -> Right:
        optional = frozenset({REQUEST_NOT_SUPPORTED}) if self.optional else frozenset()
        if len(octets) < self.least:
            return Right(errors=frozenset({INVALID_PDU}) | optional)
        found = self.of(octets, target)
        too_long = frozenset({INVALID_PDU}) if self.most and len(octets) > self.most else frozenset()
        # octets behind a request of a fixed length: some read on, some refuse it (3.4.1.1: invalid PDU)
        return Right(found.responses, found.errors | optional | too_long, echo=found.echo)


def _unasked(opcode: int) -> Right:
    """What is no request of the specification."""
    if opcode in _TO_CLIENTS:
        # an answer that nobody asked for has none itself; a client would confirm an indication (3.4.7.3)
        return Right(frozenset({_CONFIRM} if opcode == _INDICATION else ()), silence=True)
    # 3.4.1.1: request not supported; an odd number or the bit of a signature makes it no request for some
    return Right(errors=frozenset({REQUEST_NOT_SUPPORTED, INVALID_PDU}) if opcode & _SIGNED else frozenset({REQUEST_NOT_SUPPORTED}),
                 silence=bool(opcode & (_SIGNED | 1)))  # fmt: skip


def _mtu(octets: bytes, target: Target) -> Right:
    """3.4.2: once in a connection, and this one has had it: what comes of a second one is left open, but an answer."""
    return _right(0x03, errors={REQUEST_NOT_SUPPORTED, UNLIKELY_ERROR, INVALID_PDU})


def _range(octets: bytes) -> bool:
    """Whether the range of handles makes sense: else invalid handle (3.4.3.1, 3.4.4.1, 3.4.4.9)."""
    return 0 < _at(octets, 1) <= _at(octets, 3)


def _find_information(octets: bytes, target: Target) -> Right:
    if not _range(octets):
        return _right(errors={INVALID_HANDLE})
    there = any(_at(octets, 1) <= handle <= _at(octets, 3) for handle in target.attributes)
    return _right(0x05) if there else _right(errors={NOT_FOUND})


def _find_by_type(octets: bytes, target: Target) -> Right:
    return _right(0x07, errors={NOT_FOUND}) if _range(octets) else _right(errors={INVALID_HANDLE})


def _read_by_type(octets: bytes, target: Target) -> Right:
    return _of_type(octets, 0x09, {NOT_FOUND, READ_NOT_PERMITTED, *INSUFFICIENT})


def _read_by_group(octets: bytes, target: Target) -> Right:
    """3.4.4.9: only primary and secondary services are groups here (Part G 2.5.3)."""
    if octets[5:] in (_PRIMARY, _SECONDARY) or len(octets) - 5 not in _UUID_SIZES:
        return _of_type(octets, 0x11, {NOT_FOUND, REQUEST_NOT_SUPPORTED if octets[5:] == _SECONDARY else NOT_FOUND})
    return _right(errors={UNSUPPORTED_GROUP}) if _range(octets) else _right(errors={UNSUPPORTED_GROUP, INVALID_HANDLE})


def _of_type(octets: bytes, response: int, errors: set[int]) -> Right:
    """A type of 2 or 16 octets, in a range; of two things that are wrong either may be told."""
    wrong = {INVALID_PDU} if len(octets) - 5 not in _UUID_SIZES else set()
    wrong |= set() if _range(octets) else {INVALID_HANDLE}
    return _right(errors=wrong) if wrong else _right(response, errors=errors)


def _read(octets: bytes, target: Target) -> Right:
    attribute = target.attributes.get(_at(octets, 1))
    refused = _unreadable(attribute)
    return refused if refused else _right(0x0B, errors=_as_before(attribute))


def _unreadable(attribute: Attribute | None) -> Right | None:
    if attribute is None:
        return _right(errors={INVALID_HANDLE})
    if not attribute.reads:
        return _right(errors={READ_NOT_PERMITTED})
    return None


def _as_before(attribute: Attribute | None) -> frozenset[int]:
    """The errors that a read of it may meet: what it met before."""
    if attribute is None or not attribute.error:
        return frozenset()
    return INSUFFICIENT | {attribute.error}


def _read_blob(octets: bytes, target: Target) -> Right:
    """3.4.4.5: invalid offset beyond the end; attribute not long may be said of a value that one read holds."""
    attribute, offset = target.attributes.get(_at(octets, 1)), _at(octets, 3)
    refused = _unreadable(attribute)
    if refused or attribute is None:
        return refused or _right(errors={INVALID_HANDLE})
    length, errors = _length_of(attribute, target), {INVALID_OFFSET, NOT_LONG, *_as_before(attribute)}
    if offset > (LONGEST_VALUE if length is None else length):
        return _right(errors=errors)
    return _right(0x0D, errors=errors if length is None else errors - {INVALID_OFFSET})


def _length_of(attribute: Attribute, target: Target) -> int | None:
    """None where it may have changed since it was read: by itself, or because something was written."""
    is_known = attribute.steady and attribute.handle not in target.writable
    return len(attribute.value) if is_known and attribute.value is not None else None


def _read_multiple(octets: bytes, target: Target) -> Right:
    return _right(octets[0] + 1, errors={INVALID_HANDLE, READ_NOT_PERMITTED, INVALID_PDU, *INSUFFICIENT, *_OF_READS})


def _write(octets: bytes, target: Target) -> Right:
    attribute, value = target.attributes.get(_at(octets, 1)), octets[3:]
    if refused := _unwritable(attribute):
        return refused
    if len(value) > LONGEST_VALUE or (attribute and attribute.is_cccd and len(value) > CONFIGURATION):
        return _right(errors={INVALID_LENGTH, *INSUFFICIENT})
    return _right(0x13, errors=OF_VALUE)


def _unwritable(attribute: Attribute | None) -> Right | None:
    if attribute is None:
        return _right(errors={INVALID_HANDLE})
    if attribute.writes is False:
        return _right(errors={WRITE_NOT_PERMITTED, REQUEST_NOT_SUPPORTED})
    if attribute.writes is None and not attribute.is_cccd:
        return _right(0x13, 0x17, errors=OF_VALUE | {WRITE_NOT_PERMITTED})
    return None


def _prepare(octets: bytes, target: Target) -> Right:
    """3.4.6.1: what is queued comes back in full; the offset may be checked now or with the execution."""
    if refused := _unwritable(target.attributes.get(_at(octets, 1))):
        return refused
    return _right(0x17, errors=OF_VALUE | {QUEUE_FULL}, echo=octets[1:])


def _execute(octets: bytes, target: Target) -> Right:
    """3.4.6.3: to cancel always works, also what was never prepared; flags above 1 are reserved."""
    if octets[1] == 0:
        return _right(0x19)
    return _right(
        0x19,
        errors=OF_VALUE | {WRITE_NOT_PERMITTED} if octets[1] == 1 else {INVALID_PDU, VALUE_NOT_ALLOWED, UNLIKELY_ERROR},
    )


def too_long_prepared(right: Right) -> Right:
    """Of the execution of a prepared write, when the value would have more than 512 octets (3.2.9): never done."""
    return replace(right, responses=frozenset())


def _at(octets: bytes, index: int) -> int:
    return int.from_bytes(octets[index : index + 2], "little")


_OF_READS = frozenset({NOT_LONG, UNLIKELY_ERROR}) | OF_APPLICATION
_INDICATION, _CONFIRM = 0x1D, 0x1E
# Responses, notifications, indications, and the confirmation of one that was not sent
_TO_CLIENTS = frozenset({*range(0x01, 0x14, 2), 0x17, 0x19, 0x1B, _INDICATION, _CONFIRM, 0x21, 0x23})
_REQUESTS = {
    0x02: _Form(0x03, 3, 3, _mtu),
    0x04: _Form(0x05, 5, 5, _find_information),
    0x06: _Form(0x07, 7, 0, _find_by_type),
    0x08: _Form(0x09, 5, 0, _read_by_type),
    0x0A: _Form(0x0B, 3, 3, _read),
    0x0C: _Form(0x0D, 5, 5, _read_blob, optional=True),
    0x0E: _Form(0x0F, 5, 0, _read_multiple, optional=True),
    0x10: _Form(0x11, 5, 0, _read_by_group),
    0x12: _Form(0x13, 3, 0, _write),
    0x16: _Form(0x17, 5, 0, _prepare, optional=True),
    0x18: _Form(0x19, 2, 2, _execute, optional=True),
    0x20: _Form(0x21, 5, 0, _read_multiple, optional=True),
}


# --- other channels

_FAILED, _REASONS = 0x05, range(0x01, 0x10)
_PAIRING_REQUEST, _PAIRING_RESPONSE = 0x01, 0x02
_REJECT = 0x01


def wrong_on(channel: int, sent: bytes, answer: bytes) -> str:
    """What is wrong with what came on a channel other than ATT, '' for nothing. A new unit may as well say nothing."""
    if channel == SMP:
        return "" if _is_right_of_smp(sent, answer) else f"found an SMP packet {shown(answer)}"
    if channel == SIGNALLING:
        return "" if _is_right_of_signal(sent, answer) else f"found a signalling packet {shown(answer)}"
    return f"found a frame on channel 0x{channel:04X}: {shown(answer)}"


def _is_right_of_smp(sent: bytes, answer: bytes) -> bool:
    """Part H 3.5.5: Pairing Failed with a reason that there is; a Pairing Request may be accepted."""
    failed = len(answer) == 2 and answer[0] == _FAILED and answer[1] in _REASONS
    accepted = sent[:1] == bytes((_PAIRING_REQUEST,)) and answer[:1] == bytes((_PAIRING_RESPONSE,))
    return failed or (accepted and len(answer) == 7)


def _is_right_of_signal(sent: bytes, answer: bytes) -> bool:
    """Part A 4: Command Reject, or the response to that code, with the same identifier."""
    if len(answer) < 4 or len(answer) != 4 + _at(answer, 2):
        return False
    rejected = answer[0] == _REJECT
    responded = bool(sent) and not sent[0] & 1 and answer[0] == sent[0] + 1
    return (rejected or responded) and answer[1:2] == (sent[1:2] or answer[1:2])


# --- judging


def wrong_answer(right: Right, answer: bytes) -> str:
    """What is wrong with an ATT PDU as the answer; '' for nothing."""
    if answer[:1] == bytes((ERROR,)):
        return _wrong_error(right, answer)
    if not answer or answer[0] not in right.responses:
        return f"expected {right.in_words}, found {_found(answer)}"
    if right.echo and answer[1:] != right.echo:
        return f"expected the same octets back, found {shown(answer)}"
    return ""


def _wrong_error(right: Right, answer: bytes) -> str:
    if len(answer) != 5:
        return f"expected an error response of 5 octets, found {shown(answer)}"
    if answer[1] != right.opcode:
        return f"expected an error for request 0x{right.opcode:02X}, found one for 0x{answer[1]:02X}"
    if answer[4] in right.errors:
        return ""
    return f"expected {right.in_words}, found {att_error_name(answer[4]) if answer[4] else 'error 0x00'}"


def shown(octets: bytes, most: int = 16) -> str:
    """Octets for people."""
    return (octets[:most].hex(" ").upper() or "no octets") + (" …" if len(octets) > most else "")
