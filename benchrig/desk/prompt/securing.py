"""The verbs of a session that pair, encrypt and forget, and what they show."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, get_args

from benchrig.desk.prompt.deeds import EncryptDone, PairDone, UnpairDone
from benchrig.desk.securing import check_encrypted, check_paired, level_text, wish_of
from benchrig.errors import StationError, UsageError
from benchrig.radio.security import CAPABILITIES, LARGEST_KEY, NONE, SMALLEST_KEY, Encrypted, Paired, Pairings, Wish
from benchrig.source.problem import suggest

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchrig.desk.prompt.session import Session

OPTIONS = {"--pairing": "legacy|secure connections", "--key-size": "BYTES", "--no-mitm": "", "--no-bonding": ""}
PAIRINGS: tuple[Pairings, ...] = get_args(Pairings)


def typed_wish(words: str, options: Mapping[str, str]) -> Wish:
    """As what to pair; nothing is `none`. UsageError."""
    capability: Any = _one_of(words or "none", CAPABILITIES)
    wish = wish_of(capability)
    if "--pairing" in options:
        pairing: Any = _one_of(options["--pairing"], PAIRINGS)
        wish = replace(wish, pairing=pairing)
    if "--key-size" in options:
        wish = replace(wish, key_size=_key_size(options["--key-size"]))
    mitm = wish.mitm and "--no-mitm" not in options
    return replace(wish, mitm=mitm, bonding="--no-bonding" not in options)


def _one_of(word: str, known: tuple[str, ...]) -> str:
    if word not in known:
        raise UsageError(f"expected one of {', '.join(known)}; found '{word}'", advice=suggest(word, known))
    return word


def _key_size(text: str) -> int:
    if not text.isdecimal() or not SMALLEST_KEY <= int(text) <= LARGEST_KEY:
        raise UsageError(f"a key has {SMALLEST_KEY} to {LARGEST_KEY} bytes, found '{text}'", advice="--key-size 16")
    return int(text)


async def pair(session: Session, wish: Wish) -> None:
    """Pair anew. What `check_paired` raises for a pairing that failed."""
    link = await session.connection.up()
    paired = await link.security.pair(wish, session.desk.party)
    session.deeds.append(PairDone(wish, paired))
    shown: dict[str, Any] = {
        "verb": "pair",
        "capability": wish.capability,
        **_told(paired, ("method", "secure_connections", "authenticated", "bonded", "key_size")),
    }
    session.show({**shown, "level": level_text(link.security.level) if link.is_up else ""})
    check_paired(paired, "pair keyboard")


async def encrypt(session: Session) -> None:
    """With the key of the bond."""
    link = await session.connection.up()
    if link.security.level:
        session.show({"verb": "encrypt", "already": level_text(link.security.level)})
        return
    encrypted = await link.security.encrypt()
    session.deeds.append(EncryptDone(encrypted))
    session.show({"verb": "encrypt", **_told(encrypted, ("authenticated", "secure_connections", "key_size"))})
    check_encrypted(encrypted)


async def unpair(session: Session) -> None:
    """The station forgets. What was encrypted with the key ends with it, as in a plan."""
    link = await session.connection.up()
    was_bonded = link.security.is_bonded
    await link.security.forget()
    session.deeds.append(UnpairDone())
    session.show({"verb": "unpair", "device": session.connection.who, "bonded": was_bonded})
    if was_bonded and session.connection.link is not None:
        await session.disconnect()


async def bonds(session: Session) -> None:
    held = session.desk.radio.bonds
    if held is None:
        raise StationError("the operating system keeps the bonds of this radio", advice="use its own tools to see them")
    session.show({"verb": "bonds", "bonds": [bond.shown for bond in held.all()]})


def _told(made: Paired | Encrypted, names: Iterable[str]) -> dict[str, Any]:
    """What came of it, as far as the radio tells."""
    failed: dict[str, Any] = {} if made.failure == NONE else {"failure": made.failure}
    if failed and isinstance(made, Paired):
        failed["failed_by"] = made.failed_by
    return failed | {name: value for name in names if (value := getattr(made, name)) is not None}
