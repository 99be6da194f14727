"""What was heard under each address, for a device that may change it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.radio.identity import was_made_with
from benchrig.radio.scan import Ear, Report, Sighting
from benchrig.radio.trackable import Content
from benchrig.radio.trail import Track
from benchrig.values.address import kind_of_random

if TYPE_CHECKING:
    from benchrig.radio.unit import Unit
    from benchrig.steps.attribute import Names

RESOLVABLE = "resolvable private"
KINDS = ("public", "static random", RESOLVABLE, "non-resolvable private", "reserved")
# Addresses that are kept: others are not followed.
_MOST = 4096
_ADDRESS = re.compile(r"(?:[0-9A-F]{2}:){5}[0-9A-F]{2}")


@dataclass
class HeardAddress(Track):
    """`sighting` is what was heard of it in all, once the listening is over."""

    content: Content = field(default_factory=Content)
    count: int = 0
    sighting: Sighting | None = None

    @property
    def newest(self) -> Sighting:
        assert self.sighting is not None
        return self.sighting

    @property
    def kind(self) -> str:
        """'' where the system hides the address, or of which kind it is."""
        if not _ADDRESS.fullmatch(self.address.upper()) or not self.newest.address_type:
            return ""
        if self.newest.address_type == "public":
            return "public"
        kind = kind_of_random(self.address)
        return "static random" if kind == "static" else kind

    def resolves(self, key: bytes | None) -> bool:
        """By this key, or that of the bond."""
        return was_made_with(key, self.address) if key is not None else bool(self.newest.identity)


class HeardAddresses:
    """Every report, by its address and the type of that."""

    def __init__(self, names: Names) -> None:
        self._names = names
        self._heard: dict[tuple[str, str], HeardAddress] = {}

    def hear(self, report: Report) -> None:
        key = report.address, report.address_type
        one = self._heard.get(key)
        if one is None:
            if len(self._heard) >= _MOST:
                return
            one = self._heard[key] = HeardAddress(report.address)
        one.hear(report.at)
        one.count += 1
        one.content.hear(report, lambda uuid: self._names.label(uuid, "service"))

    def of(self, unit: Unit, ear: Ear) -> list[HeardAddress]:
        """Those that may be the unit's."""
        found = []
        for sighting in unit.fitting(ear):
            if one := self._heard.get((sighting.address, sighting.address_type)):
                one.sighting, one.is_proven = sighting, unit.is_same(sighting)
                one.rotates = one.kind.endswith("private")
                found.append(one)
        return found
