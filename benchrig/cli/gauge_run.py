"""`benchrig gauge run`: the measurements of a study, one after the other."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig import signals, terminal
from benchrig.cli.failing import errors_for_people
from benchrig.cli.groups import RadioWords, grouped, radio_options
from benchrig.cli.options import (
    acknowledge_option,
    flag,
    given_option,
    history_option,
    json_option,
    option,
    path_option,
    real_time_option,
)
from benchrig.cli.out import echo, print_json, tell, whatever_the_output_does
from benchrig.errors import OperatorError, UsageError
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.gauge.conducting import Conductor
    from benchrig.gauge.counting import Measured, NotCounted
    from benchrig.gauge.design import Cell, Design
    from benchrig.gauge.state import State
    from benchrig.plan.model import Plan
    from benchrig.radio.specify import RadioChoice
    from benchrig.station.station import Station

# A simulated unit, and one that nobody has to place, may have a bad moment on the air.
_TRIES = 3
_ANSWER_WITHIN = 600.0


@dataclass(frozen=True)
class Who:
    """Who measures what: '' is everybody, or every unit."""

    appraiser: str | None
    unit: str | None
    in_range: bool


@dataclass(frozen=True)
class Files:
    """Where the plan and its limit set are now, if they are not where they were."""

    plan: Path | None
    limits: Path | None

    def plan_of(self, folder: Path, design: Design) -> Path:
        return self.plan or _in(folder, design.plan)

    def limits_of(self, folder: Path, design: Design) -> Path | None:
        return self.limits or (_in(folder, design.limits) if design.limits else None)


def _in(folder: Path, file: str) -> Path:
    return Path(os.path.normpath(folder / file))


_who = grouped(
    option("--appraiser", metavar="NAME",
           help="Make the measurements of this appraiser.  [default: this station, or whoever is next]"),
    option("--unit", metavar="SERIAL", help="This unit is in place: measure it once, and ask nobody."),
    flag("--in-range", help="All units are in range, and the plan takes the one whose serial number it is given: ask nobody."),
    to="who",
    make=Who,
)  # fmt: skip


_files = grouped(
    path_option("--plan", there=True, help="The plan, where it is not where it was when the study began."),
    path_option("--limits", there=True, help="The limit set of the study, where it is not where it was."),
    to="files",
    make=Files,
)


@click.command(short_help="Make the measurements of a study.")
@click.argument("folder", type=click.Path(path_type=Path))
@radio_options()
@given_option()
@_who
@_files
@path_option("--station", help="Station file: name, radio, what is forbidden.")
@history_option()
@acknowledge_option()
@real_time_option()
@json_option("One JSON document with what is measured and what is missing.")
def run(folder: Path, radio: RadioWords, given: tuple[str, ...], who: Who, files: Files, station: Path | None,
        history: str, acknowledge: bool, real_time: bool, as_json: bool) -> None:  # fmt: skip
    """Make the measurements of the study in FOLDER that are missing, in the order that was drawn: benchrig says which unit
    to put in place, runs the plan, and sees that it is that unit.

    Whatever ends it: start it again, and it continues. Simulated units are put on the air one at a time.
    """
    from benchrig.gauge.conducting import alone, check_kind, pending
    from benchrig.gauge.design import load_design
    from benchrig.gauge.state import state_of
    from benchrig.station.station import load_station

    with errors_for_people():
        design, bench = load_design(folder), load_station(station)
        choice = radio.choice(bench.radio or "")
        asks = _asks(choice, who)
        cells_of = (_appraiser(who.appraiser, design, bench, choose=asks or choice.simulated), _unit(who.unit, design))
        with alone(folder):
            state = state_of([folder])
            check_kind(state, simulated=choice.simulated)
            cells = pending(state, *cells_of)[: 1 if who.unit else None]
            if cells:
                options = _options(bench, choice, history, acknowledged=acknowledge, real_time=real_time)
                conductor = _conductor(folder, design, files, given, options, in_range=who.in_range)
                _measure(conductor, state, cells, asks=asks, to_json=as_json)
        _end(state, folder, as_json=as_json)


def _asks(choice: RadioChoice, who: Who) -> bool:
    """Whether a person has to put each unit in place."""
    return not (choice.simulated or who.unit or who.in_range)


def _appraiser(named: str | None, design: Design, bench: Station, *, choose: bool) -> str:
    """Whose measurements are made; '' for those of all. UsageError where that is open."""
    from benchrig.source.problem import suggest

    here = bench.station if bench.station in design.appraisers else ""
    if named is not None and named not in design.appraisers:
        raise UsageError(f"the study has no appraiser '{named}'", advice=suggest(named, design.appraisers))
    if named is not None and here and named != here:
        raise UsageError(f"this is the station '{here}', and the measurement would count for '{named}'",
                         advice=f"run the part of '{named}' there")  # fmt: skip
    if found := named or here or (design.appraisers[0] if len(design.appraisers) == 1 else ""):
        return found
    if not choose:
        raise UsageError("the study has several appraisers: expected the one who measures",
                         advice=f"add --appraiser: {', '.join(design.appraisers)}")  # fmt: skip
    return ""


def _unit(named: str | None, design: Design) -> str:
    from benchrig.source.problem import suggest

    if named is not None and named not in design.units:
        raise UsageError(f"the study has no unit '{named}'", advice=suggest(named, design.units))
    return named or ""


def _options(bench: Station, choice: RadioChoice, history: str, **how: bool) -> dict[str, Any]:
    """Those of each run of the study, as fields of RunOptions. A history in the results of the station counts here too,
    though the folders of these runs are elsewhere."""
    from benchrig.history.choosing import chosen_place

    place = chosen_place(history, bench.history, Path(bench.results or "results"))
    found = str(place.file) if place is not None and place.file is not None else history
    return {"station": bench, "radio": choice, "history": found, **how}


def _conductor(folder: Path, design: Design, files: Files, given: tuple[str, ...], of_all: dict[str, Any],
               *, in_range: bool) -> Conductor:  # fmt: skip
    """With the values that the plan asks for beside the serial number: who is at the terminal is asked for them once."""
    from benchrig.cli.given import load_with_given, values_for
    from benchrig.cli.operator import OnceAtTerminal
    from benchrig.cli.progress import Progress
    from benchrig.gauge.conducting import Conductor, check_hash, given_for
    from benchrig.launch import RunOptions
    from benchrig.plan.loader import load_plan
    from benchrig.run.unattended import Unattended

    path, limits, forbid = files.plan_of(folder, design), files.limits_of(folder, design), of_all["station"].forbid
    asks = load_plan(path, forbid=forbid, limits=limits).given
    if in_range and "serial" not in asks:
        raise UsageError("--in-range: the plan asks for no value 'serial', so it cannot tell the units apart",
                         advice="place the units one at a time, or let the plan select the device by ${serial}")  # fmt: skip
    first = given_for(asks, values_for(path, of_all["station"].given, given, forbid), design.units[0])
    at_terminal = terminal.attended()
    plan, values = load_with_given(
        path, first, ask=at_terminal, within=_ANSWER_WITHIN, seed=0, forbid=forbid, limits=limits
    )
    check_hash(plan, design)

    def load(unit: str, seed: int) -> Plan:
        seeded = seed if of_all["radio"].simulated else None
        return load_plan(path, given_for(asks, values, unit), seed=seeded, forbid=forbid, limits=limits)

    options = RunOptions(plan, plan.nodes, results=None, **of_all)
    if not at_terminal:
        _check_caution(plan, acknowledged=bool(of_all["acknowledged"]))
        return Conductor(folder, design, options, load, Unattended())
    progress = Progress()
    operator = OnceAtTerminal(progress.hide, _ANSWER_WITHIN)
    return Conductor(folder, design, options, load, operator, [progress], progress.hide)


def _check_caution(plan: Plan, *, acknowledged: bool) -> None:
    """Before a measurement that would count for nothing. OperatorError where nobody is there to acknowledge."""
    if plan.caution and not acknowledged:
        raise OperatorError(f"nobody acknowledged the caution (no terminal): {plan.caution}",
                            advice="add --acknowledge after you have followed the caution")  # fmt: skip


def _measure(conductor: Conductor, state: State, cells: Sequence[Cell], *, asks: bool, to_json: bool) -> None:
    """All of them. Ends with the error of the first one that cannot be made; a person may put another unit in place."""
    from benchrig.gauge.conducting import failure
    from benchrig.gauge.counting import NotCounted

    tries, left = 0, [*cells]
    signals.hold()
    held = signals.heard()
    while left:
        if signals.heard() > held:
            raise OperatorError("interrupted")
        if asks:
            _place(left[0], again=tries > 0)
        found, finished = conductor.measure(left[0], state)
        _tell(found, state, to_json=to_json)
        for trouble in (*(each.message for each in finished.troubles), *finished.lacks):
            if trouble:
                tell(f"benchrig: {trouble}")
        if waits := finished.deliver():
            tell(f"benchrig: {waits}")
        tries = tries + 1 if isinstance(found, NotCounted) else 0
        if isinstance(found, NotCounted):
            if finished.record.cause == "operator" or (not asks and (found.wrong_unit or tries == _TRIES)):
                raise failure(found, finished)
        else:
            left.pop(0)


def _place(cell: Cell, *, again: bool) -> None:
    """Wait until the unit is in place."""
    if not terminal.attended():
        raise OperatorError(
            f"nobody is at the terminal to put unit {cell.unit} in place for {cell.appraiser}",
            advice=f"put it in place, and add --unit {cell.unit}",
        )
    from benchrig.loop import in_loop, interruptible
    from benchrig.terminal.asking import Question

    begin = "once more: " if again else ""
    asking = f"{begin}{cell.appraiser}, repeat {cell.repeat}: put unit {cell.unit} in place, and press Enter"

    async def pressed() -> None:
        try:
            await Question().line(plain(asking, 1000))
        except EOFError as error:
            raise OperatorError("no answer (end of input)") from error

    in_loop(interruptible(pressed()), None)


def _tell(found: Measured | NotCounted, state: State, *, to_json: bool) -> None:
    from benchrig.cli.gauge_text import found_words

    words = found_words(found, state)
    with whatever_the_output_does():
        if to_json:
            tell(words)
        else:
            echo(words)


def _end(state: State, folder: Path, *, as_json: bool) -> None:
    from benchrig.gauge.telling import progress_of

    with whatever_the_output_does():
        if as_json:
            print_json(progress_of(state))
        elif next_ := next(iter(state.missing), None):
            echo(f"next: {next_.words}")
        else:
            echo(f"all is measured: benchrig gauge result {folder}")
