"""What an attribute of a device file needs of the link.

read_needs: encrypted             or authenticated, or secure connections
write_needs: authenticated
key_size_needed: 16               octets of the key, where a need is written
authorized: false                 refused with insufficient authorization, whatever the key
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, TypeAlias

from benchrig.radio.security import LARGEST_KEY, SMALLEST_KEY, Level
from benchrig.radio.virtual.access_rules import Needs
from benchrig.source.shape import Misfit

Need: TypeAlias = Literal["encrypted", "authenticated", "secure connections"]
LEVELS: dict[Need | None, Level] = {
    None: Level.NO_SECURITY,
    "encrypted": Level.ENCRYPTED,
    "authenticated": Level.AUTHENTICATED,
    "secure connections": Level.SECURE_CONNECTIONS,
}
_WAYS = {"read_needs": "read", "write_needs": "write", "subscribe_needs": "subscribe to"}


class Needing:
    """What has these keys."""

    __slots__ = ()

    read_needs: Need | None
    write_needs: Need | None
    key_size_needed: int | None
    authorized: bool

    @property
    def reading(self) -> Needs:
        return self.needs(self.read_needs)

    @property
    def writing(self) -> Needs:
        return self.needs(self.write_needs)

    def needs(self, need: Need | None) -> Needs:
        """Of one kind of access."""
        return Needs(LEVELS[need], self.key_size_needed or SMALLEST_KEY, self.authorized)

    def need_misfits(self, able: dict[str, bool], *, has_need: bool = False) -> Iterable[Misfit]:
        """`able`: each key of a need, and whether there is such an access at all."""
        for key, is_able in able.items():
            if getattr(self, key) and not is_able:
                yield Misfit(f"nobody can {_WAYS[key]} this attribute", f"take '{key}' out", (key,))
        size = self.key_size_needed
        if size is not None and not SMALLEST_KEY <= size <= LARGEST_KEY:
            message = f"expected a key size of {SMALLEST_KEY} to {LARGEST_KEY} octets, found {size}"
            yield Misfit(message, path=("key_size_needed",))
        if size is not None and not has_need and not any(getattr(self, key) for key in able):
            yield Misfit("only an encrypted link has a key", f"write one of {', '.join(able)}", ("key_size_needed",))
