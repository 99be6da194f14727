"""`benchrig line drift`: whether what the golden units read stays what it was."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, history_options
from benchrig.cli.options import json_option, option
from benchrig.cli.out import print_json, whatever_the_output_does

if TYPE_CHECKING:
    from benchrig.figures.drift import DriftFigure
    from benchrig.history.opening import History


@click.command(short_help="Show how the readings of golden units change over time.")
@click.argument("station", type=click.Path(path_type=Path))
@option("--reading", "readings", multiple=True, metavar="STEP.READING",
        help="Show this reading, check by check; may be given several times.  [default: all, in a table]")  # fmt: skip
@option("--reference", "references", multiple=True, metavar="NAME",
        help="Show the golden unit of this name; may be given several times.  [default: all]")  # fmt: skip
@history_options()
@json_option()
def drift(station: Path, readings: tuple[str, ...], references: tuple[str, ...], chosen: Chosen, as_json: bool) -> None:
    """Show how the readings of the golden units of a line change over time: every check in each slot with its limits, the trend
    with its 95 % interval, and the run rules that fire. STATION is the station file. Of a rehearsal the simulated checks
    are shown, and these alone.

    \b
    Example:
      benchrig line drift line3.yaml
      benchrig line drift line3.yaml --reading 'read temperature.value'
    """
    with errors_for_people(), _opened(station, chosen) as (history, name, simulated):
        from benchrig.figures.drift import drift_of
        from benchrig.history.questions.filters import Filters

        filters = Filters(station=(name,), reference=references, simulated=simulated)
        figures = drift_of(history, filters, readings)
        with whatever_the_output_does():
            if as_json:
                print_json(_data(history, name, figures, simulated=simulated))
                return
            from benchrig.cli.line_drift_text import DriftPage

            DriftPage(history).show(name, figures, whole=bool(readings), simulated=simulated)


@contextmanager
def _opened(file: Path, chosen: Chosen) -> Iterator[tuple[History, str, bool]]:
    """The history of the station, the station's name, and whether it is a rehearsal."""
    from benchrig.history.choosing import named_place
    from benchrig.history.opening import open_history
    from benchrig.line.places import is_simulated, results_of
    from benchrig.station.station import load_station

    station = load_station(file)
    with open_history(named_place(chosen.history, station.history, results_of(station))) as history:
        yield history, station.station, chosen.simulated or is_simulated(station)


def _data(history: History, station: str, figures: list[DriftFigure], *, simulated: bool) -> dict[str, Any]:
    import msgspec

    told = msgspec.to_builtins(figures)
    for check in (check for each in told for slot in each["slots"] for check in slot["checks"]):
        check["folder"] = str(history.folder(check["folder"]))
    return {"history": history.place.shown, "station": station, "simulated": simulated, "drift": told}
