"""`benchrig ready`: whether this station can test."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.groups import RADIO_HELP, RadioWords, radio_options
from benchrig.cli.options import json_option, option, seed_option
from benchrig.cli.out import print_json, whatever_the_output_does
from benchrig.cli.types import Time
from benchrig.terminal import console

if TYPE_CHECKING:
    from benchrig.radio.specify import RadioChoice
    from benchrig.readiness.checks import Attached, Check, Station

NOT_READY = 7


@click.command(short_help="See whether this station can test.")
@radio_options(
    help=f"{RADIO_HELP} Default: every adapter of the operating system, and what else is attached.",
    envvar="BENCHRIG_RADIO",
    show_envvar=True,
)
@option("--listen", type=Time(), default="3 s", help="How long to listen for any device.")
@seed_option()
@json_option()
def ready(radio: RadioWords, listen: float, seed: int, as_json: bool) -> None:
    """Look at the radios of this station step by step, and say what to do about each 'no': what is there, switched on,
    permitted and free, and whether any device is heard. Nothing is connected, nothing is changed; a dedicated HCI
    controller is reset.

    Exits with 0 if at least one radio is ready, else with 7.

    \b
    Example:
      benchrig ready
      benchrig ready --radio hci:serial:/dev/ttyUSB0,1000000 --json
    """  # fmt: skip
    from benchrig.cli.readiness_text import ReadinessPage
    from benchrig.readiness.checks import Station, versions

    with errors_for_people():
        choice = radio.choice() if radio.are_given else None
        page = None if as_json else ReadinessPage(console())

        def heard(word: Check | Attached) -> None:
            if page is not None:
                with whatever_the_output_does(verdict=True):
                    page.show(word)

        station = Station(heard)  # what is looked at does not depend on who reads it
        _look(choice, station, listen, seed)
        with whatever_the_output_does(verdict=True):
            if page is not None:
                page.end(station, versions())
            else:
                print_json(_document(station, versions()))
    sys.exit(0 if station.ready else NOT_READY)


def _look(choice: RadioChoice | None, station: Station, listen: float, seed: int) -> None:
    if choice is not None and choice.simulated:
        from benchrig.cli.desk import at_desk
        from benchrig.desk.desk import DeskOptions
        from benchrig.readiness.checks import unfit_stack
        from benchrig.readiness.devices import look_at_devices

        if (unfit := unfit_stack(str(choice))) is not None:
            station.add(unfit)
        else:
            at_desk(DeskOptions(choice, seed=seed), lambda desk: look_at_devices(desk, station, listen))
    else:
        from benchrig.readiness.survey import attend

        attend(choice, station, listen)


def _document(station: Station, versions: dict[str, str]) -> dict[str, Any]:
    from msgspec.structs import asdict

    return {
        "ready": station.ready,
        "checks": [asdict(check) for check in station.checks],
        "attached": [asdict(each) for each in station.attached],
        "versions": versions,
    }
