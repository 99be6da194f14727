"""What a typed or scanned line is: a unit, a word, a slot, a badge, a unit that checks the station, or nothing of these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from benchrig.station.station import Station

LONGEST = 512
Said: TypeAlias = Literal["RETEST", "REPAIRED", "CLEAR", "END", "HELP"]


@dataclass(frozen=True)
class Refusal:
    """`why` in words, and what to `do`; `text` is escaped."""

    text: str
    why: str
    do: str = ""


@dataclass(frozen=True)
class SaidWord:
    word: Said


@dataclass(frozen=True)
class AtSlot:
    """The label of a slot, or its name."""

    slot: str


@dataclass(frozen=True)
class Badge:
    person: str


@dataclass(frozen=True)
class Match:
    """A unit: its product and what the barcode says of it. `reference` is the name of a unit that checks the station."""

    text: str
    product: str
    values: Mapping[str, str] = field(default_factory=dict)
    reference: str = ""

    @property
    def serial(self) -> str:
        return self.values.get("serial", "")

    @property
    def address(self) -> str:
        """In capitals with colons; '' where the barcode has none."""
        raise NotImplementedError

    @property
    def unit(self) -> str:
        """What tells this unit apart from others of the product."""
        return self.serial or self.address or self.text


Read: TypeAlias = Match | SaidWord | AtSlot | Badge | Refusal


def cleaned(typed: str) -> str | Refusal:
    """The text of a line as it was typed, without what a reader adds at its end."""
    raise NotImplementedError


def read(station: Station, typed: str) -> Read:
    """What the line names at this station."""
    raise NotImplementedError
