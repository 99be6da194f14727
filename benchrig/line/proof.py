"""Which unit is in a slot: what is asked, what was heard and told, what can come of it. Decided in `deciding.py`."""

from __future__ import annotations

import glob
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar, Literal, TypeAlias

from benchrig.radio.identity import is_private
from benchrig.radio.scan import Selection, Sighting
from benchrig.source.problem import printable
from benchrig.station.station import Station

ProofKind: TypeAlias = Literal["only slot", "own radio", "scan"]
# Of an address as text.
_OCTETS = len("00:00:00:00:00:00")
How: TypeAlias = Literal["address", "serial number", "strongest"]

HOW_WORDS: Mapping[How, str] = {
    "address": "address of the barcode",
    "serial number": "serial number read over the link",
    "strongest": "strongest by the margin, serial number read over the link",
}


@dataclass(frozen=True)
class Expected:
    """What the barcode says of the unit, '' for nothing, and how its plan selects it. `label` is the barcode, `blank` the serial
    number of all units that are not programmed yet."""

    label: str
    serial: str = ""
    address: str = ""
    selection: Selection = field(default_factory=Selection)
    blank: str = ""

    @classmethod
    def of(cls, label: str, values: Mapping[str, str], selection: Selection, blank: str = "") -> Expected:
        """By the named groups of the barcode."""
        return cls(label, values.get("serial", ""), values.get("address", "").upper(), selection, blank)

    def says(self, told: Told) -> Told:
        """What an answer says of who the unit is."""
        if not self.blank or told.serial != self.blank:
            return told
        return Told(
            why=f"tells '{printable(told.serial)}', as all do that are not programmed", connected=told.connected
        )


@dataclass(frozen=True)
class Place:
    """A slot among all of its station: the name of the radio of each slot."""

    slot: str
    radios: Mapping[str, str]

    @classmethod
    def of(cls, station: Station, slot: str) -> Place:
        names = {name: station.slots[name].radio if name in station.slots else "" for name in station.slot_names}
        return cls(slot, names)

    @property
    def radio(self) -> str:
        return self.radios[self.slot]

    def slots_on(self, radio: str) -> list[str]:
        return [slot for slot, name in self.radios.items() if name == radio]

    @property
    def radio_names(self) -> list[str]:
        return [*dict.fromkeys(self.radios.values())]

    @property
    def several_radios(self) -> bool:
        return len(self.radio_names) > 1

    @property
    def kind(self) -> ProofKind:
        """How it can be known that a unit is in this slot and in no other. 'scan': nothing on the air tells, so the label of
        the unit has to be scanned when it is taken out."""
        if len(self.radios) == 1:
            return "only slot"
        return "own radio" if len(self.slots_on(self.radio)) == 1 else "scan"


@dataclass(frozen=True)
class Claim:
    """A unit that was proven to be in another slot."""

    slot: str
    address: str
    serial: str = ""


@dataclass(frozen=True)
class Told:
    """What a unit answered when it was asked for its serial number: '' with the reason where it told none. It may not even
    have taken the connection."""

    serial: str = ""
    why: str = ""
    connected: bool = True


@dataclass(frozen=True)
class Found:
    """A unit that the plan is run on. `private`: it changes its address. `failed` is how many connections it did not take
    while it was asked."""

    address: str
    serial: str = ""
    private: bool = False
    failed: int = 0
    runs: ClassVar[bool] = True


@dataclass(frozen=True)
class Proven(Found):
    """It is the unit of the barcode."""

    how: How = "serial number"

    @property
    def words(self) -> str:
        return HOW_WORDS[self.how]


@dataclass(frozen=True)
class Unconfirmed(Found):
    """The only unit that may be in the slot, but it did not tell which one it is. The plan is run on it; it may pass only where
    its serial number is read in the run. `sure`: it is no foreign unit that lies near."""

    why: str = ""
    sure: bool = True

    @property
    def words(self) -> str:
        return f"the only unit in the slot: {self.why}"


@dataclass(frozen=True)
class WrongLabel(Found):
    """Surely the unit in the slot, and not the one of the barcode. The plan is run on it; it never passes."""

    why: str = ""

    @property
    def words(self) -> str:
        return self.why


@dataclass(frozen=True)
class Absent:
    """Nothing was heard that may be the unit. The plan is run without one."""

    why: str
    runs: ClassVar[bool] = True

    @property
    def words(self) -> str:
        return self.why


@dataclass(frozen=True)
class Elsewhere:
    """The unit of the barcode is in another slot. Nothing is run."""

    slot: str
    why: str
    runs: ClassVar[bool] = False

    @property
    def words(self) -> str:
        return self.why


@dataclass(frozen=True)
class NotProven:
    """Nothing shows which unit is in the slot. Nothing is run. `do` is what to do next."""

    why: str
    do: str = ""
    runs: ClassVar[bool] = False

    @property
    def words(self) -> str:
        return self.why


Outcome: TypeAlias = Proven | Unconfirmed | WrongLabel | Absent | Elsewhere | NotProven


@dataclass(frozen=True)
class Binding:
    """How a run is held to its unit: `device` of RunOptions, and the addresses that its radio does not hear."""

    device: tuple[str, ...] = ()
    without: frozenset[str] = frozenset()


def binding(outcome: Outcome, expected: Expected, others: frozenset[str]) -> Binding:
    """For an outcome that runs. `others` are the addresses that are known for those of other units."""
    if isinstance(outcome, Found):
        return Binding(without=others) if outcome.private else Binding((outcome.address,))
    # no unit has this name, so that none is taken which comes later
    return Binding((expected.address or glob.escape(expected.label),), others)


def stays(sighting: Sighting) -> bool:
    """Whether the address that was heard is known, and the unit's own for good."""
    return is_address_of_six(sighting.address) and not is_private(sighting)


def is_address_of_six(text: str) -> bool:
    """Six octets, and not the identifier that a system gives in their place."""
    return len(text) == _OCTETS
