"""What is wrong with a station before a shift, as far as it can be known without its radios."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from benchrig.station.station import Station


@dataclass(frozen=True)
class Found:
    """A problem keeps units of `subject` ('product vfl3', 'reference golden', 'slot 2', 'station') from being tested; a note
    does not."""

    severity: Literal["problem", "note"]
    subject: str
    message: str
    advice: str = ""


@dataclass(frozen=True)
class Checked:
    found: tuple[Found, ...]
    proofs: dict[str, str]  # by slot: how a unit is proven to be in it
    approved: dict[str, str]  # by product or 'reference NAME': who approved its plan and when; '' for nobody

    @property
    def problems(self) -> list[Found]:
        return [each for each in self.found if each.severity == "problem"]


def checked(station: Station, path: Path) -> Checked:
    """Of the station in the file `path`. Its plans are loaded as a run loads them, from the folder of that file."""
    raise NotImplementedError
