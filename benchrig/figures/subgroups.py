"""Subgroups of the values of a reading: values that were measured under like conditions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchrig.errors import UsageError
from benchrig.history.questions.values import Values
from benchrig.history.questions.words import SUBGROUPS

# The unit in which numpy counts each time.
_TIMES = {"hour": "h", "day": "D"}
_COLUMNS = {"limits": "limit_set"}


@dataclass(frozen=True)
class Subgroup:
    """The places of its values, in their order."""

    name: str
    places: NDArray[np.intp]


def subgroups_of(values: Values, by: str) -> list[Subgroup]:
    """In the order of their first values. `by` is a grouping, or a number: so many values in a row. The last ones, which are
    fewer, are a subgroup too."""
    names = _names(values, by)
    distinct, first, which = np.unique(names, return_index=True, return_inverse=True)
    order = np.argsort(which, kind="stable")
    parts = np.split(order, np.cumsum(np.bincount(which, minlength=len(distinct)))[:-1])
    return [Subgroup(str(distinct[at]), parts[at]) for at in np.argsort(first, kind="stable")]


def _names(values: Values, by: str) -> NDArray[np.generic]:
    if by in _TIMES:
        return np.datetime_as_string(values.started.astype(f"datetime64[{_TIMES[by]}]"))
    if by in SUBGROUPS:
        return values.of_run(_COLUMNS.get(by, by)).astype(str)
    if by.isdecimal() and int(by) >= 2:
        return np.char.zfill((np.arange(len(values)) // int(by) + 1).astype(str), 9)
    expected = ", ".join(SUBGROUPS)
    raise UsageError(f"expected subgroups by {expected}, or a number from 2 on, found '{by}'",
                     advice="write --subgroup day, or --subgroup 5")  # fmt: skip
