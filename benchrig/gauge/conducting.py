"""One measurement, from the design to its record."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from benchrig.errors import OperatorError, StationError, UsageError
from benchrig.files import cannot_write, held
from benchrig.gauge.counting import Measured, NotCounted, counted_for
from benchrig.gauge.design import RUNS, Cell, Design
from benchrig.gauge.placing import placed
from benchrig.gauge.state import State
from benchrig.launch import Finished, RunOptions, launch
from benchrig.plan.model import Plan
from benchrig.record.events import AnyEvent
from benchrig.steps.bench import Operator

_LOCK = ".running"
# Seeds that each measurement of a simulated unit has for its tries.
_MOST_TRIES = 100


@dataclass(frozen=True)
class Conductor:
    """Measures one cell after the other. `load` is the plan with its values, for a unit and a seed; `options` are those of
    all runs."""

    folder: Path
    design: Design
    options: RunOptions
    load: Callable[[str, int], Plan]
    operator: Operator
    listeners: Sequence[Callable[[AnyEvent], None]] = ()
    quiet: Callable[[], None] = lambda: None  # takes off the screen what they show

    def measure(self, cell: Cell, state: State) -> tuple[Measured | NotCounted, Finished]:
        """Make the measurement, and add it to the state. What happens in the run is its verdict; raises as `launch` does."""
        finished = launch(self._options(cell, state.tries(cell)), self.operator, self.listeners)
        self.quiet()
        found = counted_for(finished.record, finished.folder, self.design)
        state.add(found)
        return found, finished

    def _options(self, cell: Cell, tries: int) -> RunOptions:
        options = self.options
        seed = self.design.order.index(cell) * _MOST_TRIES + tries
        radio = placed(options.radio, cell.unit, self.design) if options.radio.simulated else options.radio
        plan = self.load(cell.unit, seed)
        check_hash(plan, self.design)
        part = self.design.part(cell)
        return replace(
            options, plan=plan, nodes=plan.nodes, radio=radio, seed=seed, study=part, results=self.folder / RUNS
        )


def check_hash(plan: Plan, design: Design) -> None:
    """Another text is another gauge, and another limit set another tolerance. UsageError."""
    limits = plan.limit_set
    if (limits.sha256 if limits else "") != design.limits_hash:
        raise UsageError(
            f"{plan.limits_file} is not the limit set as it was when the study began",
            advice="restore the limit set, or begin a new study",
        )
    if plan.hash != design.plan_hash:
        raise UsageError(
            f"{plan.path} is not the plan as it was when the study began",
            advice="restore the plan, or begin a new study",
        )


def check_kind(state: State, *, simulated: bool) -> None:
    """Simulated units are never mixed with real ones. UsageError."""
    if state.measured and state.simulated is not simulated:
        there, asked = ("simulated", "real") if state.simulated else ("real", "simulated")
        raise UsageError(
            f"the study has measurements of {there} units: those of {asked} ones would be mixed with them",
            advice="begin a new study for the rehearsal" if simulated else "begin a new study for the real units",
        )


def pending(state: State, appraiser: str = "", unit: str = "") -> list[Cell]:
    """What is missing of an appraiser, of a unit, in the order of the design."""
    return [
        cell
        for cell in state.missing
        if (not appraiser or cell.appraiser == appraiser) and (not unit or cell.unit == unit)
    ]


def failure(found: NotCounted, finished: Finished) -> Exception:
    """Why a measurement was not made, as an error with its cause."""
    again = "put the right unit in place, and run the study again"
    if found.wrong_unit:
        return OperatorError(f"not that unit, nothing was counted: {found.why}", advice=again)
    ended = finished.record.ended
    advice = ended.advice if ended else ""
    kind = OperatorError if ended and ended.cause == "operator" else StationError
    return kind(f"nothing was counted: {found.why}", advice=advice)


@contextlib.contextmanager
def alone(folder: Path) -> Iterator[None]:
    """While this process measures in the folder; two would make a measurement twice. StationError."""
    path = folder / _LOCK
    try:
        file = path.open("ab")
    except OSError as exc:
        raise cannot_write(path, exc, "choose a folder that this user may write to") from exc
    with file:
        if not held(file, wait=False):
            raise StationError(
                f"another benchrig measures in '{folder}'", advice="wait for it, or copy the folder for another station"
            )
        yield


def given_for(plan_asks: Mapping[str, object], values: Mapping[str, str], unit: str) -> dict[str, str]:
    """The values of one measurement: a plan that asks for the serial number gets that of the unit."""
    return {**values, **({"serial": unit} if "serial" in plan_asks else {})}
