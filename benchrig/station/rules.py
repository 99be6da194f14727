"""What a line does when a unit does not pass, and how it knows which unit is in which slot."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from benchrig.errors import OF_THE_UNIT, Cause
from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration, Gain

_MOST_RETESTS = 10
_MOST_IN_A_ROW = 100
_OF_UNIT = f"write some of: {', '.join(OF_THE_UNIT)}"


class Retests(msgspec.Struct, omit_defaults=True, frozen=True):
    """How often a unit that failed may be tested again with nothing done to it, and after which causes."""

    most: int = 0
    causes: list[Cause] = msgspec.field(default_factory=lambda: ["link"])

    def misfits(self) -> Iterable[Misfit]:
        if not 0 <= self.most <= _MOST_RETESTS:
            yield Misfit(f"expected 0 to {_MOST_RETESTS} retests, found {self.most}", "for example: 1", ("most",))
        if self.most and not self.causes:
            yield Misfit("expected the causes after which a unit is tested again, found none", _OF_UNIT, ("causes",))
        for index, cause in enumerate(self.causes):
            if cause not in OF_THE_UNIT:
                message = f"a run of cause {cause} judges no unit: it is tested anew anyway"
                yield Misfit(message, _OF_UNIT, ("causes", index))


class Stops(msgspec.Struct, omit_defaults=True, frozen=True):
    """After how many errors of the station, and how many equal failures of units, one after the other, the line stops."""

    station_errors: int = 3
    equal_failures: int = 3

    def misfits(self) -> Iterable[Misfit]:
        for key in ("station_errors", "equal_failures"):
            if not 1 <= getattr(self, key) <= _MOST_IN_A_ROW:
                yield Misfit(f"expected 1 to {_MOST_IN_A_ROW}, found {getattr(self, key)}", "for example: 3", (key,))


class Proving(msgspec.Struct, omit_defaults=True, frozen=True):
    """How long is listened for the unit in a slot, by how much it leads before all others, and how long it may take
    to read its serial number."""

    listen: Duration = Duration.of(1)
    margin: Gain = Gain.from_source("10 dB")
    within: Duration = Duration.of(10)

    def misfits(self) -> Iterable[Misfit]:
        for key in ("listen", "within"):
            if getattr(self, key).seconds <= 0:
                yield Misfit("expected a time above 0", "for example: 2 s", (key,))
        if self.within.seconds < self.listen.seconds:
            yield Misfit(f"{self.within} is over before {self.listen} of listening", "write a longer time", ("within",))
        if self.margin.number < 0:
            yield Misfit(f"expected 0 dB or more, found {self.margin}", "for example: 10 dB", ("margin",))
