"""What two devices agree on when they pair, in the words of the specification, and the seam to what does it.

`Link.security` is how steps and the desk reach it; each radio has its own `LinkSecurity`. Nothing that passes here holds a
key: keys stay in the radio and in the station's store of bonds. (Core Vol 3 Part H 2.3; Vol 3 Part C 10.)
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from typing import Literal, Protocol, TypeAlias, get_args

# IO capabilities (table 2.5): NoInputNoOutput, DisplayOnly, DisplayYesNo, KeyboardOnly, KeyboardDisplay
Capability: TypeAlias = Literal["none", "display", "yes/no", "keyboard", "keyboard and display"]
Method: TypeAlias = Literal["just works", "passkey", "numeric comparison", "out of band"]
Pairings: TypeAlias = Literal["either", "secure connections", "legacy"]
Side: TypeAlias = Literal["device", "bench"]

CAPABILITIES: tuple[Capability, ...] = get_args(Capability)
SHOWING: tuple[Capability, ...] = ("display", "yes/no", "keyboard and display")
TYPING: tuple[Capability, ...] = ("keyboard", "keyboard and display")
COMPARING: tuple[Capability, ...] = ("yes/no", "keyboard and display")
LARGEST_KEY, SMALLEST_KEY = 16, 7

# Reasons of Pairing Failed (Core Vol 3 Part H 3.5.5)
REASONS: dict[int, str] = {
    0x01: "passkey entry failed",
    0x02: "oob not available",
    0x03: "authentication requirements",
    0x04: "confirm value failed",
    0x05: "pairing not supported",
    0x06: "encryption key size",
    0x07: "command not supported",
    0x08: "unspecified reason",
    0x09: "repeated attempts",
    0x0A: "invalid parameters",
    0x0B: "dhkey check failed",
    0x0C: "numeric comparison failed",
    0x0D: "br/edr pairing in progress",
    0x0E: "cross-transport key derivation not allowed",
    0x0F: "key rejected",
}
# After a pairing that failed a device takes no other one for a while (Core Vol 3 Part H 2.3.6).
REPEATED = REASONS[0x09]
# What else ends a pairing, or an encryption: no PDU for 30 s; keys that do not fit; the link is gone; the radio hides why;
# the unit's public key is that of the specification's debug mode, which protects nothing; or it is no point of the curve, or
# the bench's own (Core Vol 3 Part H 2.3.5.6.1)
TIMEOUT, ENCRYPTION, LINK_LOST, HIDDEN = "timeout", "encryption failed", "link lost", "not told"
DEBUG_KEY, INVALID_KEY = "debug key", "invalid public key"
# HCI reasons of an encryption that does not begin: 0x06 PIN or key missing, 0x3D MIC failure
NO_KEY, ANOTHER_KEY = "no key", "another key"
NONE = "none"


def reason_in_words(code: int) -> str:
    """Of a Pairing Failed, one that is reserved too."""
    return REASONS.get(code, f"reason 0x{code:02X}")


class Level(IntEnum):
    """How far a link is protected, each level with what those before it have."""

    NO_SECURITY = 0
    ENCRYPTED = 1
    AUTHENTICATED = 2
    SECURE_CONNECTIONS = 3  # authenticated, by a key of LE Secure Connections

    @property
    def words(self) -> str:
        return self.name.replace("_", " ").lower()


@dataclass(frozen=True)
class Protection:
    """What a key is worth, and so a link that is encrypted with it."""

    authenticated: bool
    secure_connections: bool
    key_size: int = LARGEST_KEY

    @property
    def level(self) -> Level:
        if not self.authenticated:
            return Level.ENCRYPTED
        return Level.SECURE_CONNECTIONS if self.secure_connections else Level.AUTHENTICATED


# Which pairing leads to a level and to no other one, with `mitm` where it is authenticated
PAIRING_FOR: dict[Level, Pairings] = {
    Level.ENCRYPTED: "either",
    Level.AUTHENTICATED: "legacy",
    Level.SECURE_CONNECTIONS: "secure connections",
}


@dataclass(frozen=True)
class OobData:
    """What the bench has learned of the unit out of band: of Secure Connections its random value and its confirm value,
    of legacy pairing the temporary key; 16 octets each, most significant first."""

    random: bytes = field(default=b"", repr=False)
    confirm: bytes = field(default=b"", repr=False)
    key: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class Wish:
    """As what the bench pairs, and what it asks for. `mitm` asks for protection against a man in the middle;
    `key_size` is the largest key that it offers, `least_key_size` the smallest that it takes."""

    capability: Capability = "none"
    mitm: bool = False
    pairing: Pairings = "either"
    bonding: bool = True
    key_size: int = LARGEST_KEY
    least_key_size: int = SMALLEST_KEY
    oob: OobData | None = None


def usual_mitm(capability: Capability, *, has_oob: bool = False) -> bool:
    """Whether a side asks for protection against a man in the middle where nothing says it: wherever that can be."""
    return capability != "none" or has_oob


class Party(Protocol):
    """Who answers for the bench while it pairs: the plan, or the person at it. Numbers are 0 to 999999."""

    async def enter(self) -> int | None:
        """The passkey that the unit shows; None: the bench gives up."""
        ...

    def chosen(self) -> int | None:
        """The passkey that the bench is to show; None: a random one."""
        ...

    async def show(self, passkey: int) -> None:
        """The bench shows a passkey, which is to be typed on the unit. The pairing does not wait for this to return."""
        ...

    async def compare(self, number: int) -> bool:
        """Whether the unit shows this number too."""
        ...


@dataclass(frozen=True)
class Features:
    """What a side says of itself before a pairing, octet by octet as it said it (Core Vol 3 Part H 3.5.1 and 3.5.2)."""

    io_capability: int
    oob: int
    auth_req: int
    key_size: int
    initiator_keys: int
    responder_keys: int


@dataclass(frozen=True)
class Paired:
    """What a pairing came to. `failure` is NONE, one of REASONS, or one of the words above; `failed_by` says whose word it
    was, where that is known. What the radio does not tell, or a failure left open, is None."""

    failure: str = NONE
    failed_by: Side | None = None
    method: Method | None = None
    secure_connections: bool | None = None
    authenticated: bool | None = None
    bonded: bool | None = None
    key_size: int | None = None
    # 'C0:12:…', as it was distributed; '' where it was not
    identity_address: str = ""
    # the unit's, where the radio tells them
    features: Features | None = None

    @property
    def level(self) -> Level | None:
        """What it makes of the link, as far as the radio tells."""
        if self.authenticated is False:
            return Level.ENCRYPTED
        if self.authenticated is None or self.secure_connections is None:
            return None
        return Protection(self.authenticated, self.secure_connections).level


@dataclass(frozen=True)
class Encrypted:
    """What encrypting a link with the stored key came to. `failure` is NONE, NO_KEY (the unit has none for this bench),
    ANOTHER_KEY, LINK_LOST, TIMEOUT, or ENCRYPTION for any other reason."""

    failure: str = NONE
    authenticated: bool | None = None
    secure_connections: bool | None = None
    key_size: int | None = None


class LinkSecurity(Protocol):
    """The security of one link. A radio that cannot do something raises StationError; what the unit does against it comes
    back as a `failure`. The link may be gone after a failure."""

    @property
    def level(self) -> Level | None:
        """How far the link is protected now; None where the radio does not tell."""
        ...

    @property
    def is_bonded(self) -> bool:
        """Whether the bench has a key for the unit."""
        ...

    async def pair(self, wish: Wish, party: Party) -> Paired:
        """Pair anew, whatever the bench had of the unit before: that is forgotten first. Ends within 30 s of silence (Core Vol
        3 Part H 3.4); a call that is cancelled leaves no pairing behind."""
        ...

    async def encrypt(self) -> Encrypted:
        """Encrypt with the stored key; nothing to do for a link that is encrypted."""
        ...

    async def forget(self) -> None:
        """The bench's keys for the unit are gone; the unit knows nothing of it, and the link stays where the system lets
        it."""
        ...
