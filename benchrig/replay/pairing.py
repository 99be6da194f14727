"""How a unit paired, from the PDUs of the Security Manager (Core Vol 3 Part H 3) and the ends of its links."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from benchrig.radio.security import REASONS
from benchrig.radio.virtual.security_spec import PDUS

RESPONSE, FAILED, REQUEST_OF_UNIT = 0x02, 0x05, 0x0B
REQUIREMENTS, CONFIRM_FAILED, NOT_SUPPORTED, KEY_SIZE = 0x03, 0x04, 0x05, 0x06
NO_KEY = 0x06  # of an encryption: the unit has none (Core Vol 1 Part F 2.6)
_CAPABILITIES = ("display", "yes/no", "keyboard", "none", "keyboard and display")
_NAMES = {code: name for name, code in PDUS.items()}


@dataclass
class Pairing:
    """`security` are keys of a device file, `faults` those of its faults."""

    security: dict[str, Any] = field(default_factory=dict)
    faults: dict[str, Any] = field(default_factory=dict)
    _last: int | None = None  # the PDU of the bench that the unit has not answered
    _first: bool = True  # nothing was answered yet
    _request: bytes = bytes(7)

    def sent(self, octets: bytes) -> None:
        """By the bench."""
        code = octets[0]
        if code == PDUS["pairing request"]:
            self._request = octets
        if code == FAILED:
            if octets[1:2] == bytes([CONFIRM_FAILED]) and self.security.get("capability", "none") != "none":
                self.faults["unchecked"] = True
            self._last = None
        else:
            self._last = code

    def received(self, octets: bytes) -> None:
        code, answered = octets[0], self._last
        self._last = None
        if code == RESPONSE:
            self._respond(octets)
        elif code == REQUEST_OF_UNIT and answered is None:
            self.security["security_request"] = True
        elif code == FAILED and answered == PDUS["pairing request"]:
            self._refuse(octets[1])

    def _respond(self, octets: bytes) -> None:
        capability, wants, size = octets[1], octets[3], octets[4]
        self._first = False
        self.security.pop("bondable", None)
        self.faults.pop("refuses", None)
        self.security["capability"] = _CAPABILITIES[capability]
        self.security["mitm"] = bool(wants & 0x04)
        if self._request[3] & 0x03 and not wants & 0x03:
            self.security["bonding"] = False
        self.security["key_size"] = size
        if not wants & 0x08:
            self.security["pairing"] = "legacy"

    def _refuse(self, reason: int) -> None:
        if reason == NOT_SUPPORTED and self._first:
            self.security["bondable"] = False
        elif reason == NOT_SUPPORTED:
            self.faults["refuses_after_deletion"] = True
        elif reason == REQUIREMENTS:
            self.security["accepts"] = accepted(self._request[1] == 3, legacy=not self._request[3] & 0x08)
        elif reason == KEY_SIZE:
            self.security["least_key_size"] = min(16, self._request[4] + 1)
        elif self._first and reason in REASONS:
            self.faults["refuses"] = REASONS[reason]

    def encrypted(self, status: int) -> None:
        self._last = None
        if status == NO_KEY:
            self.faults["forgets_bonds"] = "disconnection"

    def ended(self, *, by_unit: bool) -> bool:
        """The link; what the bench had sent was not answered. Whether the unit ended it at that PDU."""
        was_asked = self._last in _NAMES
        if self._last in _NAMES:
            self.faults["disconnects_at" if by_unit else "silent_at"] = _NAMES[self._last]
        self._last = None
        return was_asked and by_unit


def accepted(nothing: bool, *, legacy: bool) -> str:
    """What a unit accepts at least that refused a bench: one that can show and take nothing, or that pairs by the legacy
    way alone."""
    return "authenticated" if nothing and not legacy else "secure connections"
