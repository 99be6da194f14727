"""Simulated units that come into the slots of a station without a radio."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from benchrig.radio.virtual.air_spec import AirChoice
from benchrig.source.shape import Misfit
from benchrig.values.quantity import Gain


class Rehearsal(msgspec.Struct, omit_defaults=True, frozen=True):
    """`unit` is the device file of what is in a slot once a barcode was read for it; '{slot}' and the values of the barcode,
    as '{serial}', are replaced. A slot without that file is empty. A unit is heard weaker by `apart` at the radios of
    other slots. `air` is the one around all slots, whatever the files of units say; without it the air is kind. `nearby` is
    the device file of what else is on it: all radios hear it alike."""

    unit: str
    apart: Gain = Gain.from_source("30 dB")
    air: AirChoice | None = None
    nearby: str = ""

    def misfits(self) -> Iterable[Misfit]:
        if not self.unit.strip():
            yield Misfit("expected the file of a unit, found nothing", "for example: units/{serial}.yaml", ("unit",))
        if self.apart.number < 0:
            yield Misfit(f"expected 0 dB or more, found {self.apart}", "for example: 30 dB", ("apart",))
