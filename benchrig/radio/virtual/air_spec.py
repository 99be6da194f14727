"""The air of a device file, and of the option that takes its place.

air: rough                      kind (default), rough, crowded or far
air: {like: crowded, loss: 10 %, packets: 2}
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from typing import Any, Literal

import msgspec

from benchrig.radio.virtual.conditions import CHANGED, KIND, PROFILES, Conditions
from benchrig.source.problem import suggest
from benchrig.source.shape import BAD, Misfit, Reader, describe
from benchrig.source.yaml import Mapping, Node, Scalar
from benchrig.values.quantity import Duration, Gain, Level, Quantity
from benchrig.values.share import Share

AIRS = (KIND, *PROFILES)
MOST_OTHERS = 10_000


class ConditionsSpec(msgspec.Struct, kw_only=True, frozen=True):
    """What differs from a profile; `conditions` has what each key means."""

    like: Literal["rough", "crowded", "far"] = "rough"
    others: int | None = None
    others_interval: Duration | None = None
    others_level: Level | None = None
    level: Level | None = None
    unit_spread: Gain | None = None
    channel_spread: Gain | None = None
    fading: Decimal | None = None
    sensitivity: Level | None = None
    capture: Gain | None = None
    loss: Share | None = None
    event_loss: Share | None = None
    request_loss: Share | None = None
    data_length_after: int | None = None
    packets: int | None = None
    clock: Share | None = None
    level_unknown: Share | None = None

    def misfits(self) -> Iterable[Misfit]:
        if self.others is not None and not 0 <= self.others <= MOST_OTHERS:
            yield Misfit(f"0 to {MOST_OTHERS} units, found {self.others}", path=("others",))
        if self.others_interval is not None and self.others_interval.seconds < 0.02:
            yield Misfit(
                f"an advertising interval is at least 20 ms, found {self.others_interval}", path=("others_interval",)
            )
        for key in ("unit_spread", "channel_spread", "capture"):
            gain = getattr(self, key)
            if gain is not None and gain.number < 0:
                yield Misfit(f"expected 0 dB or more, found {gain}", path=(key,))
        for key, least in (("fading", 0), ("data_length_after", 0), ("packets", 1)):
            number = getattr(self, key)
            if number is not None and number < least:
                yield Misfit(f"expected {least} or more, found {number}", path=(key,))

    def conditions(self) -> Conditions:
        given = {name: _plain(value) for name, value in msgspec.structs.asdict(self).items() if value is not None}
        like = PROFILES[given.pop("like")]
        return replace(like, **given, name=f"{like.name}{CHANGED}" if given else like.name)


def _plain(value: Any) -> Any:
    """As Conditions has it: levels in dBm, gains in dB, times in seconds, shares from 0 to 1."""
    if isinstance(value, Share):
        return value.part
    if isinstance(value, Duration):
        return value.seconds
    if isinstance(value, Quantity):
        return float(value.number)
    return float(value) if isinstance(value, Decimal) else value


class AirChoice:
    """The conditions that a name or a mapping stands for; None is the kind air."""

    def __init__(self, conditions: Conditions | None) -> None:
        self.conditions = conditions

    def __eq__(self, other: object) -> bool:
        return isinstance(other, AirChoice) and self.conditions == other.conditions

    def __hash__(self) -> int:
        return hash(self.conditions)

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        if isinstance(node, Mapping):
            spec = reader.read(node, ConditionsSpec)
            return spec if spec is BAD else cls(spec.conditions())
        try:
            return cls.named(str(node.value) if isinstance(node, Scalar) else describe(node))
        except Misfit as misfit:
            return reader.misfit(node, misfit)

    @classmethod
    def named(cls, word: str) -> AirChoice:
        """Raises Misfit for a word that names no air."""
        if word not in AIRS:
            advice = suggest(word, AIRS) or f"one of {', '.join(AIRS)}"
            raise Misfit(f"unknown air '{word}'", advice)
        return cls(PROFILES.get(word))
