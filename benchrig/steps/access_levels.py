"""How an `access` step gets to each level of protection."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, ClassVar

import msgspec

from benchrig.radio.security import LARGEST_KEY, PAIRING_FOR, SMALLEST_KEY, Level
from benchrig.source.shape import LATE, Misfit, Reader, is_late
from benchrig.source.yaml import Node, Scalar
from benchrig.steps.pairing_keys import Pairing

NO_WAY, SHORT_KEY = "never", "short key"


class LevelPairing(Pairing, kw_only=True):
    """The keys of a `pair` step, without bonding unless they ask for it: levels are not to mix."""

    bonding: bool = False


class Way:
    """The pairing that leads to a level; None where the plan says that the unit has no way to it."""

    __slots__ = ("pairing",)
    source_schema: ClassVar[dict[str, Any]] = {"anyOf": [{"const": NO_WAY}, {"type": "object", "required": ["pair"]}]}

    def __init__(self, pairing: LevelPairing | None) -> None:
        self.pairing = pairing

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        if isinstance(node, Scalar) and node.value == NO_WAY:
            return cls(None)
        pairing = reader.read(node, LevelPairing)
        if pairing is LATE or is_late(pairing):
            return LATE
        return cls(pairing) if isinstance(pairing, LevelPairing) else pairing


class Levels(msgspec.Struct, kw_only=True, omit_defaults=True):
    """`no security` is always tried, and needs no pairing."""

    encrypted: Way | None = None
    authenticated: Way | None = None
    secure_connections: Way | None = msgspec.field(name="secure connections", default=None)
    short_key: Way | None = msgspec.field(name=SHORT_KEY, default=None)

    @property
    def astray(self) -> Iterator[Misfit]:
        """Pairings that lead to another level than the one that they are for."""
        for level, way in self.given:
            if way.pairing is not None:
                yield from _misfits_of(level, way.pairing)

    @property
    def given(self) -> Iterator[tuple[Level, Way]]:
        """Those that the plan names, from the least protected one on."""
        for level in (Level.ENCRYPTED, Level.AUTHENTICATED, Level.SECURE_CONNECTIONS):
            way = getattr(self, level.name.lower())
            if isinstance(way, Way):
                yield level, way

    @property
    def ways(self) -> list[tuple[Level, LevelPairing]]:
        """Those with a way to them: the ones that bond come last, so that no key is there before."""
        found = [(level, _of_level(level, way.pairing)) for level, way in self.given if way.pairing is not None]
        return sorted(found, key=lambda each: each[1].bonding)

    @property
    def barred(self) -> list[Level]:
        return [level for level, way in self.given if way.pairing is None]

    @property
    def bars_short_key(self) -> bool:
        return isinstance(self.short_key, Way) and self.short_key.pairing is None

    @property
    def short(self) -> LevelPairing | None:
        """The pairing for a link whose key is shorter than it could be: as short as can be where the plan does not say it."""
        pairing = self.short_key.pairing if isinstance(self.short_key, Way) else None
        if pairing is None or pairing.key_size < LARGEST_KEY:
            return pairing
        return msgspec.structs.replace(pairing, key_size=SMALLEST_KEY)

    def lacking(self, highest: int) -> list[Level]:
        """Of the levels up to this one, those that nothing is said of."""
        return [level for level in Level if 0 < level <= highest and getattr(self, level.name.lower()) is None]


def _of_level(level: Level, pairing: LevelPairing) -> LevelPairing:
    return msgspec.structs.replace(pairing, pairing=PAIRING_FOR[level]) if pairing.pairing == "either" else pairing


def _misfits_of(level: Level, pairing: LevelPairing) -> Iterator[Misfit]:
    """A pairing that leads to another level, whatever the unit is."""
    path = (level.words, "pairing")
    if level is Level.ENCRYPTED and pairing.wish.mitm:
        message = f"as '{pairing.capability}' with mitm the link is authenticated, and not only encrypted"
        yield Misfit(message, "write pair: none, or mitm: false", (level.words, "pair"))
    if level > Level.ENCRYPTED and not pairing.wish.mitm:
        message = "without mitm nobody is authenticated"
        yield Misfit(message, "write pair: keyboard or display, or another one with mitm", (level.words, "pair"))
    if level is Level.AUTHENTICATED and pairing.pairing == "secure connections":
        message = "an authenticated key of Secure Connections gives the level secure connections"
        yield Misfit(message, "take out pairing, or put it under secure connections:", path)
    if level is Level.SECURE_CONNECTIONS and pairing.pairing == "legacy":
        yield Misfit("legacy pairing gives no key of Secure Connections", "take out pairing", path)
