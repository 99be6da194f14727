"""Whether a device allows an access: what the attribute needs, against how the link is protected.

The order of the answers is that of Core Vol 3 Part C 10.3.1; what the permissions rule out is refused before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from benchrig.radio.security import SMALLEST_KEY, Level, Protection
from benchrig.values.att_errors import (
    INSUFFICIENT_AUTHENTICATION,
    INSUFFICIENT_AUTHORIZATION,
    INSUFFICIENT_ENCRYPTION,
    KEY_TOO_SHORT,
)

Access: TypeAlias = Literal["read", "write"]


@dataclass(frozen=True)
class Needs:
    """What one kind of access to an attribute needs. `authorized`: False where nobody is allowed to, whatever his key."""

    level: Level = Level.NO_SECURITY
    key_size: int = SMALLEST_KEY
    authorized: bool = True


OPEN = Needs()


def refusal(needs: Needs, link: Protection | None, *, has_key: bool, strict: bool = True) -> int | None:
    """The ATT error that the access gets on a link that is encrypted like this, or is not (None); None where it is
    allowed. `has_key`: the device has a key for the peer. Stacks that are not strict do not look whether they have one:
    without encryption they always say that this is insufficient."""
    if needs.level and link is None:
        return INSUFFICIENT_ENCRYPTION if has_key or not strict else INSUFFICIENT_AUTHENTICATION
    if link and link.level < needs.level:
        return INSUFFICIENT_AUTHENTICATION
    if needs.level and link and link.key_size < needs.key_size:
        return KEY_TOO_SHORT
    return None if needs.authorized else INSUFFICIENT_AUTHORIZATION
