"""What the operating systems keep from who pairs through them, in sentences: for `check`, for a run, for `ready`."""

from __future__ import annotations

from benchrig.radio.security import LARGEST_KEY, Wish

MAY_MANAGE, MAY_SEE = "CAP_NET_ADMIN", "CAP_NET_RAW"
GRANT = "run benchrig as root, or give its Python the right: setcap {}+ep PYTHON"
KEY_SIZE = "Linux offers keys of 16 bytes, and lets nobody choose"
PROTECTION = (
    "Linux asks for protection against a man in the middle wherever the bench has an input or output, and only there"
)
LEGACY_OOB = "Linux pairs out of band with Secure Connections only"
ALWAYS_RANDOM = "leave out passkey: Linux shows a random one, and ${shown} is that"
OTHER_PASSKEY = "Linux shows a random passkey, and not the one that is asked for"
UNKNOWN_KEY = f"Linux tells only who may manage the adapter ({MAY_MANAGE}) what kind of key a pairing has made"
UNKNOWN_REASON = f"Linux tells only who may see all its packets ({MAY_SEE}) why a pairing failed"
UNKNOWN_BOND = "this version of BlueZ does not tell whether the pairing made a bond"
_CHOICE = f"only who may manage the adapter ({MAY_MANAGE}) has Linux pair so"


def unable(wish: Wish, *, manages: bool) -> tuple[str, str] | None:
    """Why Linux cannot pair in this way, and what to do about it; None when it can."""
    if wish.key_size != LARGEST_KEY:
        return KEY_SIZE, "leave out key_size, or use another radio: --radio hci:…"
    if wish.oob is None and wish.mitm != (wish.capability != "none"):
        return PROTECTION, "leave out mitm, or use another radio: --radio hci:…"
    if wish.oob is not None and wish.oob.key:
        return LEGACY_OOB, "use another radio: --radio hci:…"
    if (wish.pairing != "either" or wish.oob is not None) and not manages:
        what = "out of band" if wish.oob is not None else f"with pairing: {wish.pairing}"
        return f"{_CHOICE}: {what}", GRANT.format(MAY_MANAGE)
    return None
