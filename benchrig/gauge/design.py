"""The design of a study, as its file has it: read strictly, written once.

study: 0f6c1d…               its id: runs of another study are not its own
plan: ../end_of_line.yaml    as it is seen from the folder of the study
plan_hash: 1b7a…             of the text that was measured with: another text is another gauge
readings: [read temperature.value]
units: [VFL3-000001, VFL3-000002]      by serial number
appraisers: [line 1, line 2]           stations or persons
repeats: 3
seed: 7                      of the order
"""

from __future__ import annotations

import os
import random
import uuid
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

import msgspec

from benchrig.errors import UsageError
from benchrig.files import write_whole
from benchrig.record.study_part import StudyPart
from benchrig.source.loading import load_struct
from benchrig.source.shape import Misfit
from benchrig.source.writing import flow

DESIGN, RUNS = "study.yaml", "runs"
# Nobody measures more; a slip of the keyboard soon asks for more.
MOST = 100_000
_LEAST = "make a study with 'benchrig gauge begin'"
_LONGEST = 100
_SEVERAL = ("readings", "units", "appraisers")


class Cell(NamedTuple):
    """One measurement of the design."""

    unit: str
    appraiser: str
    repeat: int

    @property
    def words(self) -> str:
        return f"unit {self.unit}, {self.appraiser}, repeat {self.repeat}"


class Design(msgspec.Struct, omit_defaults=True, dict=True):  # dict: for the cached order
    study: str
    plan: str
    plan_hash: str
    readings: list[str]
    units: list[str]
    appraisers: list[str]
    repeats: int
    seed: int = 0
    limits: str = ""
    limits_hash: str = ""

    def misfits(self) -> Iterable[Misfit]:
        for key in _SEVERAL:
            yield from _misfits_of(key, getattr(self, key))
        if self.repeats < 2:
            yield Misfit(f"expected 2 repeats or more, found {self.repeats}", "write 3, as is usual", ("repeats",))
        if len(self.units) * len(self.appraisers) * self.repeats > MOST:
            yield Misfit(f"a study has at most {MOST} measurements", "write fewer repeats", ("repeats",))
        if len(self.units) == 1 and len(self.appraisers) > 1:
            yield Misfit(
                "one unit shows nothing of several appraisers: expected several units, or one appraiser",
                "write the serial numbers of more units",
                ("units",),
            )

    @property
    def is_short(self) -> bool:
        """One unit, measured again and again."""
        return len(self.units) == 1

    @cached_property
    def order(self) -> tuple[Cell, ...]:
        """All measurements as they are to be made: each appraiser has all units before one of them comes again, in an order
        that nobody chose (AIAG, Measurement Systems Analysis, 4th edition, chapter III, section B)."""
        return tuple(self._cells())

    def _cells(self) -> Iterator[Cell]:
        for repeat in range(1, self.repeats + 1):
            for appraiser in self.appraisers:
                units = [*self.units]
                random.Random(f"gauge {self.seed} {appraiser} {repeat}").shuffle(units)
                yield from (Cell(unit, appraiser, repeat) for unit in units)

    def part(self, cell: Cell) -> StudyPart:
        return StudyPart(self.study, *cell)


def _misfits_of(key: str, names: Sequence[str]) -> Iterable[Misfit]:
    if not names:
        yield Misfit("expected one name or more, found an empty list", f"write the {key}", (key,))
    for index, name in enumerate(names):
        if not name.strip() or name != name.strip() or len(name) > _LONGEST:
            yield Misfit(f"expected a name of 1 to {_LONGEST} characters, without blanks around it", path=(key, index))
        elif name in names[:index]:
            yield Misfit(f"duplicate: '{name}'", "keep one of the two", (key, index))


def new_id() -> str:
    return uuid.uuid4().hex


def load_design(folder: Path) -> Design:
    """The design in the folder of a study. PlanError with all problems; UsageError where there is none."""
    path = folder / DESIGN
    if not path.is_file():
        raise UsageError(f"'{folder}' is not the folder of a gauge study: it has no {DESIGN}", advice=_LEAST)
    return load_struct(path, Design, "a study", _LEAST)


def check_design(design: Design) -> Design:
    """One that was made of words of the command line. UsageError with all that is wrong."""
    if wrong := [*design.misfits()]:
        said = "; ".join(f"{misfit.path[0]}: {misfit.message}" for misfit in wrong)
        raise UsageError(said, advice="; ".join(dict.fromkeys(misfit.advice for misfit in wrong if misfit.advice)))
    return design


def write_design(folder: Path, design: Design) -> None:
    """Into a new folder. UsageError where the folder holds something."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"'{folder}' already exists, and is not empty", advice="name a new folder for the study")
    head = "# a gauge study: do not change what was measured with\n"
    lines = [f"{key}: {flow(value)}\n" for key, value in _written(design)]
    write_whole(folder / DESIGN, (head + "".join(lines)).encode(), advice="name another folder for the study")


def _written(design: Design) -> Iterator[tuple[str, object]]:
    """Without a limit set where there is none."""
    return ((key, value) for key in design.__struct_fields__ if (value := getattr(design, key)) != "")


def seen_from(folder: Path, file: Path) -> str:
    """The path of a file, as it is seen from the folder; it is right when both are moved together."""
    try:
        return Path(os.path.relpath(file.resolve(), folder.resolve())).as_posix()
    except ValueError:  # on another drive
        return file.resolve().as_posix()
