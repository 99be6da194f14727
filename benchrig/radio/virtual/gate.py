"""What a simulated device says to frames that its host must not see: bumble's throws at them, or says nothing.

Sections are those of Core Vol 3. The security manager looks after its channel itself.
"""

from __future__ import annotations

from typing import NamedTuple

from benchrig.values.att_errors import INVALID_PDU, REQUEST_NOT_SUPPORTED
from benchrig.values.channels import ATT, SIGNALLING, SMP

_COMMAND, _WRITE_COMMAND, _CONFIRMATION = 0x40, 0x52, 0x1E
_UUID_SIZES = (2, 16)


class Form(NamedTuple):
    """Of an ATT request: its least octets, and its greatest, 0 for those of the MTU."""

    least: int
    most: int = 0


# Part F 3.4
REQUESTS = {
    0x02: Form(3, 3), 0x04: Form(5, 5), 0x06: Form(7), 0x08: Form(7), 0x0A: Form(3, 3), 0x0C: Form(5, 5), 0x0E: Form(5),
    0x10: Form(7), 0x12: Form(3), 0x16: Form(5), 0x18: Form(2, 2), 0x20: Form(5),
}  # fmt: skip
_READ_BY_TYPE, _READ_BY_GROUP, _EXECUTE, _OF_SEVERAL = 0x08, 0x10, 0x18, (0x0E, 0x20)
# Part A 4: Connection Parameter Update Response, the one packet that a device here may have asked for
_UPDATE_RESPONSE, _UPDATE_LENGTH, _HEADER = 0x13, 2, 4
_REJECT, _NOT_UNDERSTOOD = 0x01, b"\x00\x00"


def answer_to(channel: int, octets: bytes) -> bytes | None:
    """What is said to a frame, b'' for nothing; None for one that the host deals with."""
    if channel == ATT:
        return _answer_to_att(octets)
    if channel == SIGNALLING:
        return _answer_to_signal(octets)
    return None if channel == SMP else b""  # Part A 3: a channel that is not there


def is_request(channel: int, octets: bytes) -> bool:
    """Whether it is an ATT request, which wants an answer; not a command or a confirmation."""
    return channel == ATT and bool(octets) and not octets[0] & (1 | _COMMAND) and octets[0] != _CONFIRMATION


def is_truncated(octets: bytes) -> bool:
    """Whether it is a request of the specification that ends too early."""
    form = REQUESTS.get(octets[0]) if octets else None
    return form is not None and len(octets) < form.least


def is_unknown(octets: bytes) -> bool:
    """Whether it is an ATT request that the specification does not know."""
    opcode = octets[0] if octets else 1
    return not opcode & (1 | _COMMAND) and opcode not in REQUESTS and opcode != _CONFIRMATION


def _answer_to_att(octets: bytes) -> bytes | None:
    opcode = octets[0] if octets else 1
    if opcode & _COMMAND:
        return None if opcode == _WRITE_COMMAND and len(octets) >= 3 else b""
    if opcode == _CONFIRMATION:
        return None if len(octets) == 1 else b""
    if opcode & 1:
        return b""  # an answer that nobody has asked for
    form = REQUESTS.get(opcode)
    if form is None:
        return error(opcode, REQUEST_NOT_SUPPORTED)
    return None if _is_well_formed(octets, form) else error(opcode, INVALID_PDU)


def _is_well_formed(octets: bytes, form: Form) -> bool:
    if octets[0] in (_READ_BY_TYPE, _READ_BY_GROUP) and len(octets) - 5 not in _UUID_SIZES:
        return False
    if octets[0] == _EXECUTE and octets[1:2] not in (b"\x00", b"\x01"):
        return False
    if octets[0] in _OF_SEVERAL and not len(octets) & 1:
        return False  # half a handle
    return form.least <= len(octets) and (not form.most or len(octets) <= form.most)


def _answer_to_signal(octets: bytes) -> bytes | None:
    if len(octets) < _HEADER or octets[1] == 0:
        return b""  # no identifier to reject it with (4.1)
    length = int.from_bytes(octets[2:4], "little")
    if octets[0] == _UPDATE_RESPONSE and length == _UPDATE_LENGTH and len(octets) == _HEADER + length:
        return None
    if octets[0] & 1:
        return b""  # a response
    return bytes((_REJECT, octets[1], len(_NOT_UNDERSTOOD), 0)) + _NOT_UNDERSTOOD


def error(opcode: int, code: int, handle: int = 0) -> bytes:
    """An error response."""
    return bytes((0x01, opcode)) + handle.to_bytes(2, "little") + bytes((code,))
