"""The station file: what a bench is called, which radios and slots it has, what it tests and what it does not allow."""

from __future__ import annotations

import platform
from collections.abc import Iterable
from pathlib import Path

import msgspec

from benchrig.console.choice import ConsoleChoice
from benchrig.errors import UsageError
from benchrig.radio.specify import RadioChoice
from benchrig.source.loading import load_struct
from benchrig.source.shape import Misfit
from benchrig.station.around import ConsoleText, FixtureSpec, Forbidden, PowerCommands, offset_misfits
from benchrig.station.checks import Reference
from benchrig.station.labels import Labels
from benchrig.station.products import Product
from benchrig.station.rehearsing import Rehearsal
from benchrig.station.rules import Proving, Retests, Stops
from benchrig.station.slots import MOST_LINKS, RadioSpec, SlotSpec
from benchrig.station.told import Told, unknown_words
from benchrig.station.wires import Wires
from benchrig.station.wiring import CommandSwitch, Wiring
from benchrig.values.pattern import Regex, group_names
from benchrig.values.quantity import Duration, Gain

# Of a station that names none.
ONLY_SLOT = "1"
_RADIO = "host"


class Station(msgspec.Struct, omit_defaults=True):
    """A station file. `given` are default values for plans; `rssi_offset` is added to every level (fixture, cable). The rest
    is for a line: `slots` by their names, `products`, `references` (units that check the station), `people` (what a
    badge looks like), `takt`, `retest`, `stop`, `prove`, `after_unit`, `approvals` (the file of approved plans)."""

    station: str
    radio: str | None = None
    results: str | None = None
    forbid: list[Forbidden] = []
    given: dict[str, str] = {}
    rssi_offset: Gain | None = None
    console: ConsoleText | None = None
    power: PowerCommands | None = None
    fixture: FixtureSpec | None = None
    history: str = ""
    links: int = 1
    radios: dict[str, RadioSpec] = {}
    slots: dict[str, SlotSpec] = {}
    products: dict[str, Product] = {}
    references: dict[str, Reference] = {}
    people: Regex | None = None
    takt: Duration | None = None
    retest: Retests = Retests()
    stop: Stops = Stops()
    prove: Proving = Proving()
    after_unit: Told | None = None
    approvals: str = ""
    rehearsal: Rehearsal | None = None

    def wiring(self, console: ConsoleChoice | None = None) -> Wiring:
        """What there is beside the radio; a console of the command line goes before."""
        power = CommandSwitch(tuple(self.power.down), tuple(self.power.up)) if self.power else None
        return Wiring(console or (ConsoleChoice.parse(self.console) if self.console else None), power)

    def misfits(self) -> Iterable[Misfit]:
        yield from offset_misfits(self.rssi_offset)
        yield from Labels(self.slots, self.products, self.references, self.people).misfits()
        rehearses = self.rehearsal is not None
        yield from Wires(self.radios, self.slots, self.radio, self.console, self.power, rehearses).misfits()
        if not 1 <= self.links <= MOST_LINKS:
            yield Misfit(f"expected 1 to {MOST_LINKS} links, found {self.links}", "for example: 4", ("links",))
        if self.takt is not None and self.takt.seconds <= 0:
            yield Misfit("expected a time above 0", "for example: 45 s", ("takt",))
        if self.rehearsal is not None:
            yield from self._words_of(self.rehearsal.unit)

    def _words_of(self, unit: str) -> Iterable[Misfit]:
        """The words in braces, which every label has to give."""
        for name, product in self.products.items():
            known = ["slot", *group_names(product.barcode)]
            for misfit in unknown_words(unit, known, ("rehearsal", "unit")):
                message = f"{misfit.message}: no group of the barcode of '{name}' is called so"
                yield Misfit(message, misfit.advice, misfit.path)

    @property
    def offset(self) -> float:
        """dB to be added to every level."""
        return float(self.rssi_offset.number) if self.rssi_offset is not None else 0.0

    def at_slot(self, name: str) -> Station:
        """The station as a run in this slot sees it: what the slot says stands in for what the station says."""
        slot = self.slots.get(name, SlotSpec())
        said = {key: getattr(slot, key) for key in ("rssi_offset", "fixture", "console", "power")}
        return msgspec.structs.replace(self, **{key: value for key, value in said.items() if value is not None})

    @property
    def slot_names(self) -> list[str]:
        return [*self.slots] or [ONLY_SLOT]

    def radio_of(self, slot: str) -> RadioSpec:
        """The radio that the units of a slot are tested over."""
        named = self.slots[slot].radio if slot in self.slots else ""
        return self.radios[named] if named else RadioSpec(self.radio or _RADIO, self.links)


def check_radio_files(radio: RadioChoice, path: Path) -> None:
    """See that the device files of this station file's radio are there. UsageError."""
    for file in radio.files:
        if not file.exists():
            raise UsageError(
                f"{file}, which {path} names in 'radio:', is not there",
                advice="paths are seen from the current folder: start benchrig where the path holds, or name --radio",
            )


def load_station(path: Path | None) -> Station:
    """The station of a file, or this machine with nothing configured. PlanError with all problems."""
    if path is None:
        return Station(platform.node() or "unnamed")
    return load_struct(path, Station, "a station file", "write at least 'station:' with a name")
