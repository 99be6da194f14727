"""Units that check the station: one that must pass, one that must fail."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import msgspec

from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration


class Reference(msgspec.Struct, omit_defaults=True, frozen=True):
    """`label` is its barcode. A golden unit passes, inside the limits of a limit set of its own; one that is known to be bad
    `fails` in this step. It is due `every` so often, and at the start of a shift."""

    label: str
    fails: str = ""
    limits: str = ""
    every: Duration | None = None
    slots: Literal["every", "any"] = "every"

    def misfits(self) -> Iterable[Misfit]:
        if not self.label.strip():
            yield Misfit("expected the barcode of the unit, found nothing", "scan its label", ("label",))
        if self.every is not None and self.every.seconds <= 0:
            yield Misfit("expected a time above 0", "for example: 4 h", ("every",))
        if self.fails and self.limits:
            yield Misfit("a unit that must fail takes no limit set", "take out limits, or fails", ("limits",))
