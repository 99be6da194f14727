"""Pairings that a device refuses."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchrig.radio.security import REASONS, REPEATED, Paired, Wish

# What a refusal is about; that there were too many attempts is none of its own.
REFUSALS = frozenset(REASONS.values()) - {REPEATED}


@dataclass(frozen=True)
class Refusal:
    """One pairing that the device has refused; `passkey` is the wrong one that was typed."""

    what: str
    wish: Wish
    paired: Paired
    passkey: int | None = field(default=None, repr=False)


class Typing:
    """Types this passkey, whatever the device shows."""

    def __init__(self, passkey: int) -> None:
        self._passkey = passkey

    async def enter(self) -> int | None:
        return self._passkey

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        """Nobody types it."""

    async def compare(self, number: int) -> bool:
        return False
