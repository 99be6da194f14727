"""The radios of a station, and the slots of its fixture."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from benchrig.source.shape import Misfit
from benchrig.station.around import ConsoleText, FixtureSpec, PowerCommands, offset_misfits
from benchrig.values.quantity import Gain

# A controller holds some eight links; more than this many are none of one radio (from memory, no source).
MOST_LINKS = 32


class RadioSpec(msgspec.Struct, omit_defaults=True, frozen=True):
    """A radio of the station, as --radio writes it, and how many links it may hold at once."""

    radio: str
    links: int = 1

    def misfits(self) -> Iterable[Misfit]:
        if not 1 <= self.links <= MOST_LINKS:
            yield Misfit(f"expected 1 to {MOST_LINKS} links, found {self.links}", "for example: 4", ("links",))


class SlotSpec(msgspec.Struct, omit_defaults=True, frozen=True):
    """A place for one unit. `radio` is one of the station's radios; what a slot does not say the station says for it. `label`
    is the barcode at the slot."""

    radio: str = ""
    rssi_offset: Gain | None = None
    fixture: FixtureSpec | None = None
    console: ConsoleText | None = None
    power: PowerCommands | None = None
    label: str = ""

    def misfits(self) -> Iterable[Misfit]:
        yield from offset_misfits(self.rssi_offset)
