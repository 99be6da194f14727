"""Whether a device allows an access: what the attribute needs, against how the link is protected.

The order of the answers is that of Core Vol 3 Part C 10.3.1; what the permissions rule out is refused before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from benchrig.radio.security import SMALLEST_KEY, Level

Access: TypeAlias = Literal["read", "write"]

# ATT errors (Core Vol 3 Part F 3.4.1.1)
INSUFFICIENT_AUTHENTICATION = 0x05
INSUFFICIENT_AUTHORIZATION = 0x08
KEY_TOO_SHORT = 0x0C
INSUFFICIENT_ENCRYPTION = 0x0F


@dataclass(frozen=True)
class Needs:
    """What one kind of access to an attribute needs. `authorized`: False where nobody is allowed to, whatever his key."""

    level: Level = Level.NO_SECURITY
    key_size: int = SMALLEST_KEY
    authorized: bool = True


@dataclass(frozen=True)
class Protection:
    """A link, as the device sees it. `has_key`: whether it has a key for the peer, in use or not."""

    level: Level = Level.NO_SECURITY
    key_size: int = 0
    has_key: bool = False


OPEN = Needs()


def refusal(needs: Needs, link: Protection, *, strict: bool = True) -> int | None:
    """The ATT error that the access gets, None where it is allowed. Stacks that are not strict do not look whether they
    have a key for the peer: without encryption they always say that this is insufficient."""
    if needs.level and not link.level:
        return INSUFFICIENT_ENCRYPTION if link.has_key or not strict else INSUFFICIENT_AUTHENTICATION
    if link.level < needs.level:
        return INSUFFICIENT_AUTHENTICATION
    if needs.level and link.key_size < needs.key_size:
        return KEY_TOO_SHORT
    return None if needs.authorized else INSUFFICIENT_AUTHORIZATION
