"""`benchrig ready`: whether this station can test."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.common import RADIO_HELP, air_option, errors_for_people
from benchrig.cli.desk import print_json
from benchrig.cli.ports import port_options
from benchrig.cli.types import Time, Whole

if TYPE_CHECKING:
    from benchrig.desk.readiness import Attached, Check, Heard, Station
    from benchrig.radio.specify import RadioChoice

NOT_READY = 7


@click.command(short_help="See whether this station can test.")
@click.option("--radio", metavar="RADIO", envvar="BENCHRIG_RADIO", show_envvar=True,
              help=f"{RADIO_HELP} Default: every adapter of the operating system, and what else is attached.")  # fmt: skip
@port_options
@click.option(
    "--listen", metavar="TIME", type=Time(), default="3 s", show_default=True, help="How long to listen for any device."
)
@click.option("--seed", type=Whole(0), default=0, metavar="N", help="Seed of everything random on a virtual radio.")
@air_option()
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
def ready(
    radio: str | None,
    ports: tuple[str, ...],
    starts: tuple[str, ...],
    listen: float,
    seed: int,
    air: str | None,
    as_json: bool,
) -> None:
    """Look at the radios of this station step by step, and say what to do about each 'no': what is there, switched on,
    permitted and free, and whether any device is heard. Nothing is connected, nothing is changed; a controller of its
    own is reset.

    Exits with 0 when there is a radio over which can be tested, else with 7.

    \b
    Example:
      benchrig ready
      benchrig ready --radio hci:serial:/dev/ttyUSB0,1000000 --json
    """  # fmt: skip
    from benchrig.cli.common import whatever_the_output_does
    from benchrig.desk.readiness import Station, versions
    from benchrig.radio.specify import RadioChoice

    with errors_for_people():
        named = radio is not None or ports or starts or air
        choice = RadioChoice.parse(radio or "host", ports, starts, air) if named else None
        # what is looked at does not depend on who reads it
        if as_json:
            station = Station()
            _look(choice, station, listen, seed)
            with whatever_the_output_does(verdict=True):
                print_json(_document(station, versions()))
        else:
            from benchrig.cli.common import console
            from benchrig.cli.readiness_text import ReadinessPage

            page = ReadinessPage(console())
            station = Station(_shown_on(page))
            _look(choice, station, listen, seed)
            with whatever_the_output_does(verdict=True):
                page.end(station, versions())
    sys.exit(0 if station.ready else NOT_READY)


def _look(choice: RadioChoice | None, station: Station, listen: float, seed: int) -> None:
    if choice is not None and choice.simulated:
        from benchrig.cli.desk import at_desk
        from benchrig.desk.desk import DeskOptions
        from benchrig.desk.readiness import look_at_devices, unfit_stack

        if (unfit := unfit_stack(str(choice))) is not None:
            station.add(unfit)
        else:
            at_desk(DeskOptions(choice, seed=seed), lambda desk: look_at_devices(desk, station, listen))
    else:
        from benchrig.desk.readiness import attend

        attend(choice, station, listen)


def _shown_on(page: Any) -> Heard:
    from benchrig.cli.common import whatever_the_output_does
    from benchrig.desk.readiness import Check

    def heard(word: Check | Attached) -> None:
        with whatever_the_output_does(verdict=True):
            if isinstance(word, Check):
                page.check(word)
            else:
                page.attached(word)

    return heard


def _document(station: Station, versions: dict[str, str]) -> dict[str, Any]:
    from msgspec.structs import asdict

    return {
        "ready": station.ready,
        "checks": [asdict(check) for check in station.checks],
        "attached": [asdict(each) for each in station.attached],
        "versions": versions,
    }
