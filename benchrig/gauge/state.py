"""What the folders of a study hold: the measurements, what does not count, what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.gauge.counting import Measured, NotCounted, counted_for
from benchrig.gauge.design import RUNS, Cell, Design, load_design
from benchrig.record.journal import RECORD, read_record


@dataclass
class State:
    """Of one study, from all its folders."""

    design: Design
    measured: dict[Cell, Measured] = field(default_factory=dict)
    not_counted: list[NotCounted] = field(default_factory=list)
    doubled: list[NotCounted] = field(default_factory=list)

    @property
    def missing(self) -> list[Cell]:
        """In the order in which they are to be made."""
        return [cell for cell in self.design.order if cell not in self.measured]

    @property
    def in_time(self) -> list[Measured]:
        return sorted(self.measured.values(), key=_in_time)

    @property
    def simulated(self) -> bool | None:
        """Whether the units were; None before the first measurement."""
        return next((each.simulated for each in self.measured.values()), None)

    @property
    def is_mixed(self) -> bool:
        return len({each.simulated for each in self.measured.values()}) > 1

    @property
    def kept_order(self) -> bool:
        """Whether each appraiser measured in the order that was drawn."""
        return all(
            [each.cell for each in self.in_time if each.cell.appraiser == appraiser]
            == [cell for cell in self.design.order if cell.appraiser == appraiser and cell in self.measured]
            for appraiser in self.design.appraisers
        )

    def tries(self, cell: Cell) -> int:
        """How often it was tried, to no result."""
        return sum(each.cell == cell for each in self.not_counted)

    def add(self, found: Measured | NotCounted) -> None:
        """A run behind those that are there."""
        if isinstance(found, NotCounted):
            self.not_counted.append(found)
        elif (first := self.measured.setdefault(found.cell, found)) is not found:
            self.doubled.append(_double(first, found))


def state_of(folders: Sequence[Path]) -> State:
    """All that the folders hold. PlanError, or UsageError where they are not of one study."""
    design = load_design(folders[0])
    for folder in folders[1:]:
        if load_design(folder) != design:
            raise UsageError(
                f"'{folder}' is another study than '{folders[0]}'",
                advice="copy the folder of one study to each station, with its study.yaml, before the first run",
            )
    state = State(design)
    found = [_read(path, design) for path in _records(folders)]
    state.not_counted += [each for each in found if isinstance(each, NotCounted)]
    for each in sorted((each for each in found if isinstance(each, Measured)), key=_in_time):
        state.add(each)
    return state


def _in_time(measured: Measured) -> tuple[str, str]:
    return measured.started, measured.run_id


def _records(folders: Iterable[Path]) -> list[Path]:
    paths = (path.parent for folder in folders for path in sorted((folder / RUNS).glob(f"*/{RECORD}")))
    return list({path.resolve(): path for path in paths}.values())


def _read(folder: Path, design: Design) -> Measured | NotCounted:
    try:
        return counted_for(read_record(folder), folder, design)
    except UsageError as error:
        return NotCounted(folder, error.message)


def _double(first: Measured, second: Measured) -> NotCounted:
    """The first one in time counts, whatever the other one says."""
    why = (
        f"it is the same run as {first.folder}"
        if first.run_id == second.run_id
        else f"{first.cell.words} was measured before, in {first.folder}: the first one counts"
    )
    return NotCounted(second.folder, why, second.cell)
