"""Whether a golden unit is held to limits inside those of its product: a limit set may also widen, and then it shows nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from benchrig.line.plans import HERE, files_for, load, values_for
from benchrig.plan.model import Plan
from benchrig.source.shape import Misfit
from benchrig.station.station import Station
from benchrig.values.judging import BoundLimit
from benchrig.values.limit import Limit
from benchrig.values.quantity import Quantity, is_number

TIGHTER = "correct the limit set of the golden unit, and let it be approved"
_WITH_UNIT = ("min", "above", "max", "below", "nominal")


def why_no_golden_limits(
    station: Station, product: str, reference: str, values: Mapping[str, str], plan: Plan, seed: int | None = None
) -> str:
    """What is wrong with the limits of a unit that checks the station, whose `plan` has them and the `values` of its label; ''
    where they are inside those of its product."""
    files = files_for(station, product)
    if files == files_for(station, product, reference):
        return ""
    found = wider(plan, load(station, HERE, files, values_for(station, product, values, plan.given), seed))
    return f"the limits of the golden unit are wider than those of its product: {'; '.join(found)}" if found else ""


def wider(golden: Plan, product: Plan) -> list[str]:
    """The limits on numbers that let the golden unit pass where the plan of its product fails, in words. Both are the same
    plan with the same values."""
    of_product = {step.id: step for step in product.steps}
    found = list[str]()
    for step in golden.steps:
        theirs = of_product.get(step.id)
        if step.step is None or theirs is None or theirs.step is None:
            continue
        for reading, limit in step.step.limits.items():
            found += [f"'{step.name}', {reading}: {why}" for why in _wider(limit, theirs.step.limits.get(reading))]
    return found


def _wider(limit: Any, theirs: Any) -> Iterator[str]:
    """A limit with a value of the run cannot be compared before it."""
    if not isinstance(limit, Limit) or not isinstance(theirs, Limit) or limit == theirs:
        return
    unit = _unit(theirs)
    one, other = _bound(limit, unit), _bound(theirs, unit)
    if one is None or other is None:
        return
    if _ends(other.low) and (not _ends(one.low) or one.low < other.low):
        yield f"{one.words} goes below {other.words}"
    elif _ends(other.high) and (not _ends(one.high) or one.high > other.high):
        yield f"{one.words} goes above {other.words}"


def _ends(value: Any) -> bool:
    return is_number(value)


def _unit(limit: Limit) -> str:
    keys = limit.keys()
    written = next((getattr(limit, key) for key in _WITH_UNIT if key in keys), "")
    try:
        return Quantity.from_source(str(written)).unit.symbol
    except Misfit:
        return ""


def _bound(limit: Limit, unit: str) -> BoundLimit | None:
    try:
        return limit.bind("number", unit)
    except Misfit:
        return None
