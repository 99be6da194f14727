"""Pairing with a device at the desk, and what it came to in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.errors import DeviceError, OperatorError, StepFailed
from benchrig.radio.security import (
    NO_KEY,
    NONE,
    REASONS,
    REPEATED,
    TIMEOUT,
    Capability,
    Encrypted,
    Level,
    Paired,
    Party,
    Wish,
    usual_mitm,
)
from benchrig.steps.encrypt import error_of as not_encrypted
from benchrig.steps.pairing_readings import error_of

if TYPE_CHECKING:
    from benchrig.radio.link import Link


NOBODY = "run it at a terminal"


class Unattended:
    """Nobody answers while a device is paired with: whatever has to be asked ends the pairing."""

    async def enter(self) -> int | None:
        raise OperatorError("the device shows a passkey, and nobody can type it (no terminal)", advice=NOBODY)

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        raise OperatorError(
            "a passkey must be typed on the device, and nobody can read it (no terminal)", advice=NOBODY
        )

    async def compare(self, number: int) -> bool:
        raise OperatorError("two numbers must be compared, and nobody can see them (no terminal)", advice=NOBODY)


def wish_of(capability: Capability, *, bonding: bool = True) -> Wish:
    """As a person with these means would pair: protected against a man in the middle wherever that can be."""
    return Wish(capability, mitm=usual_mitm(capability), bonding=bonding)


async def secure(
    link: Link, capability: Capability, party: Party, tell: Callable[[str], None], *, bonding: bool = True
) -> Paired | Encrypted:
    """Encrypt the link with the key of a bond, or pair anew where the station has none. DeviceError, LinkLost."""
    if link.security.is_bonded:
        encrypted = await link.security.encrypt()
        if encrypted.failure != NO_KEY:
            check_encrypted(encrypted)
            tell(f"encrypted with the key of the bond{_worth(encrypted)}")
            return encrypted
        tell("the device has lost its key of the bond: pairing anew")
    paired = await link.security.pair(wish_of(capability, bonding=bonding), party)
    check_paired(paired)
    tell(paired_text(paired))
    return paired


def check_paired(paired: Paired, to_pair: str = "--pair keyboard") -> None:
    """What `error_of` makes of a pairing that failed, with the advice for a person; OperatorError where he was late."""
    if paired.failure == TIMEOUT and paired.failed_by == "bench":
        raise OperatorError("nobody answered within the 30 s that a pairing waits", advice="pair again")
    if paired.failure != NONE:
        error = error_of(paired)
        if isinstance(error, StepFailed):  # no limit has broken here
            error = DeviceError(error.message)
        error.advice = _ADVICE.get(paired.failure, "").format(to_pair)
        raise error


def check_encrypted(encrypted: Encrypted) -> None:
    """The same for a link that was to be encrypted."""
    if (error := not_encrypted(encrypted)) is not None:
        error.advice = "forget the bond (benchrig bonds clear), and pair anew"
        raise error


_ADVICE = {
    REASONS[0x04]: "check the number that was typed, and pair again",
    REASONS[0x03]: "pair as something that can do more: {}",
    REPEATED: "wait a while before the next attempt",
    REASONS[0x05]: "check that the device accepts pairing now: some do for a while after a button only",
}


def paired_text(paired: Paired) -> str:
    """'paired: passkey, Secure Connections, authenticated, key of 16 bytes, bonded'."""
    words = paired_words(paired.method, paired.secure_connections, paired.authenticated, paired.key_size, paired.bonded)
    return f"paired: {words}" if words else "paired"


def paired_words(
    method: str | None, secure: bool | None, authenticated: bool | None, key_size: int | None, bonded: bool | None
) -> str:
    """As far as the radio tells."""
    said = (
        method or "",
        _either(secure, "Secure Connections", "legacy"),
        _either(authenticated, "authenticated", "not authenticated"),
        f"key of {key_size} bytes" if key_size else "",
        _either(bonded, "bonded", "not bonded"),
    )
    return ", ".join(filter(None, said))


def _either(value: bool | None, yes: str, no: str) -> str:
    """'' for what is not known."""
    return "" if value is None else yes if value else no


def _worth(encrypted: Encrypted) -> str:
    return f", key of {encrypted.key_size} bytes" if encrypted.key_size else ""


def level_text(level: Level | None) -> str:
    """'' where the radio does not tell."""
    return "" if level is None else level.words


class Remembering:
    """A party whose passkeys are compared, and kept nowhere else: `typed` are those that the device has shown."""

    def __init__(self, party: Party) -> None:
        self._party = party
        self._typed: list[int] = []

    @property
    def shows_one_passkey(self) -> bool | None:
        """Whether each pairing had the same; None before there were two."""
        return len(set(self._typed)) == 1 if len(self._typed) > 1 else None

    @property
    def another(self) -> int | None:
        """A passkey that the device has not shown; None where it has shown none."""
        return next(number for number in range(1000000) if number not in self._typed) if self._typed else None

    async def enter(self) -> int | None:
        passkey = await self._party.enter()
        if passkey is not None:
            self._typed.append(passkey)
        return passkey

    def chosen(self) -> int | None:
        return self._party.chosen()

    async def show(self, passkey: int) -> None:
        await self._party.show(passkey)

    async def compare(self, number: int) -> bool:
        return await self._party.compare(number)
