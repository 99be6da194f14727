"""`benchrig scan`: the devices on the air."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from benchrig.cli.desk import at_desk, listening_options
from benchrig.cli.options import flag, json_option, option
from benchrig.cli.out import tell, whatever_the_output_does
from benchrig.cli.types import IdentityKey, Time
from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.desk.airlist import AirList, SortOrder
    from benchrig.desk.desk import DeskOptions

# How long to listen where nobody watches.
LISTEN = 5.0
NOTHING_MATCHED = 5


@click.command(short_help="Show the devices on the air.")
@option("--for", "for_", type=Time(), help="Listen for TIME, then print a table. Default without a terminal: 5 s.")
@option("--sort", type=click.Choice(["level", "name", "age", "rate"]), default="level", help="Order of the devices.")
@option(
    "--irk",
    "keys",
    type=IdentityKey(),
    multiple=True,
    help="Identity resolving key: its private addresses are one device. May be given several times. @FILE and @env:VARIABLE "
    "keep it out of the process list.",
)
@flag("--passive", help="Ask the devices for nothing.")
@flag("--reports", help="One line a report as it comes, until --for is over or Ctrl-C.")
@json_option("One JSON document a device and line (with --reports: a report and line).")
@listening_options
def scan(for_: float | None, sort: SortOrder, keys: tuple[bytes, ...], passive: bool, reports: bool, as_json: bool,
         desk: DeskOptions) -> None:  # fmt: skip
    """Listen, and show the devices that match the options. On a terminal the list is live: the keys are at its foot.
    With --for, --json or in a pipe it is printed once. Exits with 5 when nothing matched.

    \b
    Example:
      benchrig scan
      benchrig scan -d 'VFL-*' --rssi-min -70 --for 10s --json
    """
    from benchrig.cli.scanning import each_report, live, once, print_devices
    from benchrig.desk.airlist import LIVE_WINDOW, AirList
    from benchrig.radio.scan import KEPT_REPORTS
    from benchrig.terminal.live import is_possible

    if for_ == 0:
        raise UsageError("--for must be more than 0 s", advice="for example: --for 5s")
    is_live = not (reports or as_json or for_ is not None) and is_possible()
    air = AirList(desk.selection, keys=keys, window=LIVE_WINDOW if is_live or reports else KEPT_REPORTS)
    endless = replace(desk, real_time=True)
    with whatever_the_output_does():
        if is_live:
            at_desk(endless, lambda at: live(at, air, sort, active=not passive))
        elif reports:
            options = desk if for_ is not None else endless
            at_desk(options, lambda at: each_report(at, air, for_, as_json, active=not passive))
        else:
            seconds = LISTEN if for_ is None else for_
            devices = at_desk(desk, lambda at: once(at, air, seconds, sort, active=not passive))
            print_devices(devices, desk, as_json)
    _end(air)


def _end(air: AirList) -> None:
    from benchrig.source.problem import counted

    if air.fitting():
        return
    others = f" ({counted(len(air.heard), 'other device')} heard)" if air.heard else ""
    with whatever_the_output_does():
        tell(f"benchrig: no device that matches was heard{others}")
    sys.exit(NOTHING_MATCHED)
