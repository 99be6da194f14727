"""How a reading changes from one firmware to the next."""

from __future__ import annotations

import msgspec
import numpy as np

from benchrig.history.questions.values import Floats, Places, Values
from benchrig.study.change import change_of, mean_of, shifted
from benchrig.study.estimate import Estimate


class Revision(msgspec.Struct, frozen=True):
    """The values with one firmware, '' where it is not known. `change` is from the revision before; the last run is the
    example."""

    firmware: str
    n: int
    failed: int
    mean: Estimate
    change: Estimate | None
    differs: bool  # from the revision before, by more than chance
    run_id: str
    folder: str


def revisions_of(values: Values) -> list[Revision]:
    """In the order in which they were seen first. Values that are not finite have no mean, and no part in it."""
    finite = np.isfinite(values.value)
    names, kind = values.kinds_of("firmware")
    made: list[Revision] = []
    before: Floats | None = None
    for one in dict.fromkeys(kind[finite].tolist()):
        which = np.flatnonzero(finite & (kind == one))
        made.append(_revision(values, names[one], which, before))
        before = values.value[which]
    return made


def _revision(values: Values, firmware: str, which: Places, before: Floats | None) -> Revision:
    """`before` are the values with the revision before."""
    found, last = values.value[which], which[-1:]
    change, differs = (None, False) if before is None else (change_of(before, found), shifted(before, found))
    (run_id,), (folder,) = values.of_run("run_id", last), values.of_run("folder", last)
    failed = int((~values.passed[which]).sum())
    return Revision(firmware, len(which), failed, mean_of(found), change, differs, run_id, folder)
