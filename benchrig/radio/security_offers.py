"""What the operating systems keep from who pairs through them, in sentences: for `check`, for a run, for `ready`."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from benchrig.radio.offers import ON_OTHER_RADIO
from benchrig.radio.security import LARGEST_KEY, Wish, usual_mitm


@dataclass(frozen=True)
class Right:
    """A right of Linux; `lost` says what a bench without it does not have."""

    name: str
    lost: str


MAY_MANAGE, MAY_SEE = "CAP_NET_ADMIN", "CAP_NET_RAW"
MANAGING = Right(
    MAY_MANAGE,
    f"without {MAY_MANAGE} the kind and size of a key are not told, and pairing: and out_of_band: of a pair step not done",
)
SEEING = Right(MAY_SEE, f"without {MAY_SEE} the reason why a pairing failed is not told")


def granting(rights: Iterable[Right]) -> str:
    """What to do for these rights."""
    names = ",".join(right.name.lower() for right in rights)
    return f"run benchrig as root, or give its Python the right: setcap {names}+ep {os.path.realpath(sys.executable)}"


KEY_SIZE = "Linux offers keys of 16 bytes, and lets nobody choose"
PROTECTION = (
    "Linux asks for protection against a man in the middle wherever benchrig has an input or output, and only there"
)
LEGACY_OOB = "Linux pairs out of band with Secure Connections only"
ALWAYS_RANDOM = "leave out passkey: Linux shows a random one, and ${shown} is that"
OTHER_PASSKEY = "Linux shows a random passkey, and not the one that is asked for"
UNKNOWN_KEY = f"Linux tells only who may manage the adapter ({MAY_MANAGE}) what kind of key a pairing has made"
UNKNOWN_REASON = f"Linux tells only who may see all its packets ({MAY_SEE}) why a pairing failed"
UNKNOWN_BOND = "this version of BlueZ does not tell whether the pairing made a bond"
_CHOICE = f"only who may manage the adapter ({MAY_MANAGE}) has Linux pair so"


# --- as what Linux does not pair


def _offers_short_keys(wish: Wish) -> bool:
    return wish.key_size != LARGEST_KEY


def _chooses_protection(wish: Wish) -> bool:
    return wish.oob is None and wish.mitm != usual_mitm(wish.capability)


def _is_legacy_oob(wish: Wish) -> bool:
    return wish.oob is not None and bool(wish.oob.key)


def _needs_management(wish: Wish) -> bool:
    return wish.pairing != "either" or wish.oob is not None


def unable(wish: Wish, *, manages: bool) -> tuple[str, str] | None:
    """Why Linux cannot pair in this way, and what to do about it; None when it can."""
    if _offers_short_keys(wish):
        return KEY_SIZE, f"leave out key_size, or {ON_OTHER_RADIO}"
    if _chooses_protection(wish):
        return PROTECTION, f"leave out mitm, or {ON_OTHER_RADIO}"
    if _is_legacy_oob(wish):
        return LEGACY_OOB, ON_OTHER_RADIO
    if _needs_management(wish) and not manages:
        what = "out of band" if wish.oob is not None else f"with pairing: {wish.pairing}"
        return f"{_CHOICE}: {what}", granting([MANAGING])
    return None


# --- for `check`


@dataclass(frozen=True)
class Bar:
    """What a kind of step cannot do on a kind of radio, or cannot do `everywhere` on it: `when` in words, found out by
    `applies`."""

    verb: str
    when: str
    why: str
    applies: Callable[[Any], bool]
    everywhere: bool = True


def _wish(step: Any) -> Wish | None:
    """As what a step pairs; None for a step that pairs as another one did."""
    keys = getattr(step, "keys", None)
    wish = getattr(keys, "wish", None)
    return wish if isinstance(wish, Wish) else None


def _always(step: Any) -> bool:
    return True


def _pairs(as_: Callable[[Wish], bool]) -> Callable[[Any], bool]:
    """Whether a step pairs so."""

    def applies(step: Any) -> bool:
        wish = _wish(step)
        return wish is not None and as_(wish)

    return applies


def _chooses_what_is_shown(step: Any) -> bool:
    wish = _wish(step)
    return wish is not None and wish.capability in ("display", "yes/no") and getattr(step, "passkey", None) is not None


_MANAGES = f"Linux does it only for who may manage the adapter ({MAY_MANAGE}); `benchrig ready` says whether that is so"
_SYSTEMS = (
    "on Linux alone benchrig decides how it pairs; Windows pairs for a program as `none` only, and macOS on its own, "
    "when the unit wants it"
)
_ENCRYPTS = "Linux encrypts on its own when it connects, which the step then tells of; Windows and macOS do not tell"
_FORGETS = "macOS lets only its user remove a bond"
BARS: dict[str, tuple[Bar, ...]] = {
    "host": (
        Bar("pair", "any", _SYSTEMS, _always, everywhere=False),
        Bar("encrypt", "any", _ENCRYPTS, _always, everywhere=False),
        Bar("unpair", "any", _FORGETS, _always, everywhere=False),
        Bar("pair", "`pairing` or `out_of_band`", _MANAGES, _pairs(_needs_management), everywhere=False),
        Bar("pair", "`key_size` under 16", KEY_SIZE, _pairs(_offers_short_keys)),
        Bar(
            "pair",
            "`mitm: false` with an input or output, or `mitm: true` without",
            PROTECTION,
            _pairs(_chooses_protection),
        ),
        Bar("pair", "`out_of_band` with a key", LEGACY_OOB, _pairs(_is_legacy_oob)),
        Bar("pair", "`passkey` as `display` or `yes/no`", OTHER_PASSKEY, _chooses_what_is_shown),
    ),
    "virtual": (),
    "hci": (),
}
# 'step.reading' -> why a kind of radio may not have it, which the run finds out
MAY_LACK: dict[str, dict[str, str]] = {
    "host": {
        "pair.failure": UNKNOWN_REASON,
        "pair.failed_by": UNKNOWN_REASON,
        "pair.secure_connections": UNKNOWN_KEY,
        "pair.authenticated": UNKNOWN_KEY,
        "pair.key_size": UNKNOWN_KEY,
        "pair.identity_address": UNKNOWN_KEY,
        "encrypt.authenticated": UNKNOWN_KEY,
        "encrypt.secure_connections": UNKNOWN_KEY,
        "encrypt.key_size": UNKNOWN_KEY,
    },
    "virtual": {},
    "hci": {},
}


def barred(kind: str, step: Any) -> Iterator[Bar]:
    """What of a step this kind of radio cannot do."""
    return (bar for bar in BARS[kind] if bar.verb == step.verb and bar.applies(step))
