"""What the uncertainty of a station does to the units of a process: bad ones that pass, good ones that fail."""

from __future__ import annotations

import math

import msgspec

from benchrig.study.capability.capability import Capability
from benchrig.study.estimate import Unsuitable
from benchrig.study.risks import Risks, global_risks, normal


class RiskFigure(msgspec.Struct, frozen=True):
    """Parts of all units, of a normal process. `uncertainty` is the expanded one, with k 2; `guard` is the guard band; the
    deviation of the units is what the uncertainty leaves of that of the readings."""

    uncertainty: float
    guard: float
    unit_sd: float
    risks: Risks


def risk_figure(found: Capability, uncertainty: float, guard: float) -> RiskFigure:
    """Unsuitable where the uncertainty explains all of the spread: nothing of it is the units'."""
    u, seen = uncertainty / 2, found.overall.spread.sd.value
    if not 0 < u < seen:
        raise Unsuitable(
            f"expected a standard uncertainty above 0 and below the deviation of all values, {seen:.4g}, found {u:.4g}"
        )
    unit_sd = math.sqrt(seen**2 - u**2)
    return RiskFigure(
        uncertainty, guard, unit_sd, global_risks(normal(found.mean.value, unit_sd), u, found.low, found.high, guard)
    )
