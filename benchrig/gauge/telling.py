"""How far a study is, as data."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from benchrig.gauge.counting import NotCounted
from benchrig.gauge.design import Cell
from benchrig.gauge.state import State

FORMAT = 1


class LeftOut(msgspec.Struct, omit_defaults=True):
    """A run that does not count, and why. `unit` to `repeat` where it was meant for a measurement of the design."""

    folder: str
    why: str
    unit: str = ""
    appraiser: str = ""
    repeat: int = 0


class Place(msgspec.Struct):
    """A measurement of the design."""

    unit: str
    appraiser: str
    repeat: int


class Progress(msgspec.Struct, omit_defaults=True):
    """A study, and what it needs next."""

    format: int
    study: str
    plan: str
    readings: list[str]
    units: list[str]
    appraisers: list[str]
    repeats: int
    planned: int
    measured: int
    simulated: bool = False
    missing: list[Place] = []  # in the order in which they are to be made
    not_counted: list[LeftOut] = []
    doubled: list[LeftOut] = []


def progress_of(state: State) -> Progress:
    design = state.design
    return Progress(
        FORMAT,
        design.study,
        design.plan,
        design.readings,
        design.units,
        design.appraisers,
        design.repeats,
        len(design.order),
        len(state.measured),
        bool(state.simulated),
        [Place(*cell) for cell in state.missing],
        left_out(state.not_counted),
        left_out(state.doubled),
    )


def left_out(runs: Sequence[NotCounted]) -> list[LeftOut]:
    return [LeftOut(str(each.folder), each.why, *(each.cell or Cell("", "", 0))) for each in runs]
