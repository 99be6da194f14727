"""What a station file says of what stands around the unit, and of what may not run."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar

import msgspec

from benchrig.console.choice import ConsoleChoice
from benchrig.errors import UsageError
from benchrig.extensions import ALL, ONE, canonical
from benchrig.record.events import Fixture
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, describe_value
from benchrig.values.quantity import Gain

# What a fixture, a cable or a shielded box takes at most, in dB (common practice, no source).
MOST_OFFSET = 60


class ConsoleText(str):
    """Where the console of the unit is."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string"}

    @classmethod
    def from_source(cls, value: Any) -> ConsoleText:
        try:
            return cls(ConsoleChoice.parse(str(value)))
        except UsageError as error:
            raise Misfit(error.message, error.advice) from error


class PowerCommands(msgspec.Struct, omit_defaults=True):
    """The programs that switch the power of the unit, with their arguments."""

    down: list[str]
    up: list[str]

    def misfits(self) -> Iterable[Misfit]:
        for key, words in (("down", self.down), ("up", self.up)):
            if not words or not words[0]:
                yield Misfit("a command needs a program", "for example: [relay, '1', open]", (key,))


class FixtureSpec(msgspec.Struct, omit_defaults=True):
    """What holds the unit: its name, and the version of its software."""

    name: str
    software: str = ""

    def misfits(self) -> Iterable[Misfit]:
        if not self.name.strip():
            yield Misfit("expected the name of the fixture, found nothing", "for example: nest 4", ("name",))

    @property
    def recorded(self) -> Fixture:
        return Fixture(self.name, self.software)


class Forbidden(str):
    """What may not run at a station: a kind of step, what other packages bring, what one of them brings."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": "string"}

    @classmethod
    def from_source(cls, value: Any) -> Forbidden:
        words = ("call", "command", ALL)
        if value not in words and not (isinstance(value, str) and canonical(value.removeprefix(ONE)) and ONE in value):
            advice = suggest(str(value), words) or f"write {', '.join(words)} or {ONE}NAME"
            raise Misfit(f"expected what is forbidden, found {describe_value(value)}", advice)
        return cls(value)


def offset_misfits(offset: Gain | None) -> Iterable[Misfit]:
    """Of a key rssi_offset."""
    if offset is not None and abs(float(offset.number)) > MOST_OFFSET:
        yield Misfit(
            f"{offset} makes up for no fixture: the limits on levels would say nothing",
            f"write {-MOST_OFFSET} dB to {MOST_OFFSET} dB",
            ("rssi_offset",),
        )
