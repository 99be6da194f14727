"""How a simulated device pairs, and what is wrong with that.

security:
  capability: display               or none, yes/no, keyboard, keyboard and display
  mitm: true                        asks for protection against a man in the middle; default: unless the capability is none
  pairing: either                   or legacy, or secure connections: refuses the other one
  accepts: encrypted                or authenticated, or secure connections: refuses a pairing that comes to less
  downgrade: true                   false: a bond is not replaced by a weaker one
  bonding: true                     false: it pairs, and keeps nothing
  bondable: true                    false: it does not pair at all
  unbonded: true                    false: it refuses who keeps no keys
  key_size: 16                      the largest key that it offers
  least_key_size: 7                 the smallest that it takes
  passkey: '042517'                 shown or typed; random: one that changes; typed it comes from `enter` then
  compare: accept                   or refuse, or ask: what its user says when numbers are compared; ask waits for `enter`
  answer_after: 2 s                 so long its user takes for each answer
  wait_after_failure: 2 s           so long nobody pairs again whose pairing has failed, each time twice as long
  out_of_band: {random: HEX}        of Secure Connections; {key: HEX} of legacy pairing
  security_request: true            it asks for security when a link begins
  strict: true                      see access_rules
  faults: {forgets_bonds: restart}
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar, Literal, Self, TypeAlias

import msgspec

from benchrig.radio.security import (
    COMPARING,
    LARGEST_KEY,
    REASONS,
    SHOWING,
    SMALLEST_KEY,
    TYPING,
    Capability,
    Level,
    Pairings,
    Wish,
    usual_mitm,
)
from benchrig.radio.security import OobData as Known
from benchrig.radio.virtual.needs_spec import LEVELS, Need
from benchrig.radio.virtual.words import Hex
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, describe_value
from benchrig.values.passkey import SIX_DIGITS
from benchrig.values.quantity import Duration

OCTETS = LARGEST_KEY  # of keys and random values

# PDUs that a central sends in a pairing, by their code (Core Vol 3 Part H 3.3)
PDUS: dict[str, int] = {
    "pairing request": 0x01,
    "pairing confirm": 0x03,
    "pairing random": 0x04,
    "public key": 0x0C,
    "dhkey check": 0x0D,
    "identity information": 0x08,
}
Pdu: TypeAlias = Literal[
    "pairing request", "pairing confirm", "pairing random", "public key", "dhkey check", "identity information"
]


class PasskeyText(str):
    """Six digits in quotes, or `random`."""

    __slots__ = ()
    RANDOM: ClassVar[str] = "random"

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if isinstance(value, str) and (value == cls.RANDOM or SIX_DIGITS.fullmatch(value)):
            return cls(value)
        found = f"{len(value)} characters" if isinstance(value, str) else "no text"
        raise Misfit(f"expected six digits in quotes, or random; found {found}", "for example: '042517'")

    @property
    def number(self) -> int | None:
        return None if self == self.RANDOM else int(self)

    def __repr__(self) -> str:
        return "PasskeyText(…)"


class Reason(int):
    """A reason of Pairing Failed by its name: repeated attempts."""

    @classmethod
    def from_source(cls, value: Any) -> Self:
        for code, words in REASONS.items():
            if value == words:
                return cls(code)
        advice = suggest(value, REASONS.values()) if isinstance(value, str) else ""
        raise Misfit(f"expected a reason of Pairing Failed, found {describe_value(value)}", advice)


class OutOfBandSpec(msgspec.Struct, kw_only=True, frozen=True):
    """What the device tells of itself beside the radio, the most significant octet first."""

    random: Hex | None = None
    key: Hex | None = None

    def misfits(self) -> Iterable[Misfit]:
        if (self.random is None) == (self.key is None):
            yield Misfit("expected random (Secure Connections) or key (legacy)", "for example: {random: HEX}")
        for name in ("random", "key"):
            value = getattr(self, name)
            if value is not None and len(value) != OCTETS:
                yield Misfit(f"expected {OCTETS} bytes, found {len(value)}", path=(name,))

    def __repr__(self) -> str:
        return "OutOfBandSpec(…)"


class SecurityFaultSpec(msgspec.Struct, kw_only=True, frozen=True):
    """What is wrong with its pairing."""

    unchecked: bool = False
    confirms_unasked: bool = False
    forgets_bonds: Literal["disconnection", "restart"] | None = None
    keeps_bonds: bool = False
    refuses_after_deletion: bool = False
    same_key: bool = False
    debug_key: bool = False
    refuses: Reason | None = None
    silent_at: Pdu | None = None
    disconnects_at: Pdu | None = None
    trusts_address: bool = False
    notifies_unencrypted: bool = False

    def misfits(self) -> Iterable[Misfit]:
        ends = [key for key in ("refuses", "silent_at", "disconnects_at") if getattr(self, key) is not None]
        if len(ends) > 1:
            yield Misfit(f"'{ends[0]}' and '{ends[1]}' exclude each other", "keep one of the two", (ends[1],))


class SecuritySpec(msgspec.Struct, kw_only=True, frozen=True):
    """How a device pairs."""

    direct: ClassVar[str] = "capability"

    capability: Capability = "none"
    mitm: bool | None = None
    pairing: Pairings = "either"
    accepts: Need = "encrypted"
    downgrade: bool = True
    bonding: bool = True
    bondable: bool = True
    unbonded: bool = True
    key_size: int = LARGEST_KEY
    least_key_size: int = SMALLEST_KEY
    passkey: PasskeyText = PasskeyText(PasskeyText.RANDOM)
    compare: Literal["accept", "refuse", "ask"] = "accept"
    answer_after: Duration = Duration.of(0)
    wait_after_failure: Duration = Duration.of(0)
    out_of_band: OutOfBandSpec | None = None
    security_request: bool = False
    strict: bool = True
    faults: SecurityFaultSpec = SecurityFaultSpec()

    @property
    def wish(self) -> Wish:
        mitm = usual_mitm(self.capability, has_oob=self.out_of_band is not None) if self.mitm is None else self.mitm
        known = self.out_of_band and self.out_of_band.key and Known(key=bytes(self.out_of_band.key))
        return Wish(
            self.capability, mitm, self.pairing, self.bonding, self.key_size, self.least_key_size, oob=known or None
        )

    @property
    def asks(self) -> bool:
        """Whether something is entered at it: a passkey, or an answer."""
        return self.compare == "ask" or (self.capability in TYPING and self.passkey == PasskeyText.RANDOM)

    @property
    def least(self) -> Level:
        """A pairing that comes to less is refused."""
        return LEVELS[self.accepts]

    def misfits(self) -> Iterable[Misfit]:
        yield from self._size_misfits()
        yield from self._capability_misfits()
        if self.out_of_band and self.pairing == ("legacy" if self.out_of_band.random else "secure connections"):
            yield Misfit(f"these data are not for {self.pairing} pairing", "take 'pairing' out", ("out_of_band",))
        if self.accepts == "secure connections" and self.pairing == "legacy":
            message = "legacy pairing never comes to Secure Connections"
            yield Misfit(message, "take 'pairing' or 'accepts' out", ("accepts",))
        if self.security_request and not self.bondable:
            message = "a device that refuses to pair asks for no security"
            yield Misfit(message, "take 'bondable' or 'security_request' out", ("security_request",))
        yield from self._fault_misfits()

    def _size_misfits(self) -> Iterable[Misfit]:
        for key in ("key_size", "least_key_size"):
            if not SMALLEST_KEY <= getattr(self, key) <= LARGEST_KEY:
                message = f"a key has {SMALLEST_KEY} to {LARGEST_KEY} bytes, not {getattr(self, key)}"
                yield Misfit(message, path=(key,))
        if self.least_key_size > self.key_size:
            message = f"the device offers at most {self.key_size} bytes"
            yield Misfit(message, "raise 'key_size'", ("least_key_size",))

    def _capability_misfits(self) -> Iterable[Misfit]:
        """What the capability never comes to."""
        mentions = {
            "passkey": (self.passkey != PasskeyText.RANDOM, (*SHOWING, *TYPING)),
            "compare": (self.compare != "accept", COMPARING),
        }
        for key, (is_given, able) in mentions.items():
            if is_given and self.capability not in able:
                words = " or ".join(dict.fromkeys(able))
                yield Misfit(
                    f"a device of capability '{self.capability}' has none", f"write capability: {words}", (key,)
                )
        can_authenticate = self.capability != "none" or self.out_of_band is not None
        if LEVELS[self.accepts] >= Level.AUTHENTICATED and not can_authenticate:
            message = "a device without display, keyboard and data out of band has no authenticated pairing"
            yield Misfit(message, "write a capability", ("accepts",))

    def _fault_misfits(self) -> Iterable[Misfit]:
        """Faults that nobody could see."""
        faults = self.faults
        if faults.confirms_unasked and self.compare != "ask":
            yield Misfit(
                "only a device that asks its user can do without", "write compare: ask", _at("confirms_unasked")
            )
        if faults.same_key and self.pairing == "secure connections":
            yield Misfit("keys of Secure Connections are never the same", "write pairing: legacy", _at("same_key"))
        if faults.debug_key and self.pairing == "legacy":
            yield Misfit("legacy pairing has no debug key", "write pairing: either", _at("debug_key"))
        for key in ("forgets_bonds", "keeps_bonds", "refuses_after_deletion", "trusts_address", "notifies_unencrypted"):
            if getattr(faults, key) and not (self.bonding and self.bondable):
                yield Misfit("a device without bonds has no fault with them", f"take '{key}' out", _at(key))


def _at(key: str) -> tuple[str, str]:
    return ("faults", key)
