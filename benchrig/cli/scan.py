"""`benchrig scan`: the devices on the air."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.desk import Time, at_desk, device_options, print_json, tell

if TYPE_CHECKING:
    from benchrig.desk.airlist import AirList, HeardDevice, Order
    from benchrig.desk.desk import Desk, DeskOptions

# How long to listen where nobody watches.
LISTEN = 5.0
NOTHING_MATCHED = 5


class IdentityKey(click.ParamType[bytes]):
    """16 octets as hex, the most significant first."""

    name = "hex"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> bytes:
        if isinstance(value, bytes):
            return value
        try:
            key = bytes.fromhex(value.replace(":", ""))
        except ValueError:
            key = b""
        if len(key) != 16:
            self.fail(f"'{value}' is no identity resolving key: 32 hex digits, the most significant first", param, ctx)
        return key


@click.command(short_help="Show the devices on the air.")
@click.option(
    "--for",
    "for_",
    type=Time(),
    metavar="TIME",
    help="Listen so long, then print a table. Default where no person watches: 5 s.",
)
@click.option(
    "--sort",
    type=click.Choice(["level", "name", "age", "rate"]),
    default="level",
    show_default=True,
    help="Order of the devices.",
)
@click.option(
    "--irk",
    "keys",
    type=IdentityKey(),
    multiple=True,
    metavar="HEX",
    help="Identity resolving key: its private addresses are one device. May be given again.",
)
@click.option("--passive", is_flag=True, help="Ask the devices for nothing.")
@click.option("--reports", is_flag=True, help="One line a report as it comes, until --for is over or Ctrl-C.")
@click.option(
    "--json", "as_json", is_flag=True, help="One JSON document a device and line (with --reports: a report and line)."
)
@device_options
def scan(for_: float | None, sort: Order, keys: tuple[bytes, ...], passive: bool, reports: bool, as_json: bool,
         desk: DeskOptions) -> None:  # fmt: skip
    """Listen, and show the devices that answer the options. On a terminal the list is live: the keys are at its foot.
    With --for, --json or in a pipe it is printed once. Exits with 5 when nothing matched.

    \b
    Example:
      benchrig scan
      benchrig scan -d 'VFL-*' --rssi-min -70 --for 10s --json
    """
    from benchrig.cli.common import whatever_the_output_does
    from benchrig.cli.live import is_possible
    from benchrig.desk.airlist import LIVE_WINDOW, AirList
    from benchrig.radio.scan import KEPT_REPORTS

    live = not (reports or as_json or for_ is not None) and is_possible()
    air = AirList(desk.selection, keys=keys, window=LIVE_WINDOW if live or reports else KEPT_REPORTS)
    endless = replace(desk, real_time=True)
    with whatever_the_output_does():
        if live:
            at_desk(endless, lambda at: _live(at, air, sort, active=not passive))
        elif reports:
            options = desk if for_ is not None else endless
            at_desk(options, lambda at: _each_report(at, air, for_, as_json, active=not passive))
        else:
            devices = at_desk(desk, lambda at: _once(at, air, for_ or LISTEN, sort, active=not passive))
            _print(devices, desk, as_json)
    _end(air)


def _end(air: AirList) -> None:
    if air.fitting():
        return
    others = f" ({len(air.heard)} others were heard)" if air.heard else ""
    tell(f"benchrig: no device that matches was heard{others}")
    sys.exit(NOTHING_MATCHED)


async def _live(desk: Desk, air: AirList, order: Order, *, active: bool) -> None:
    """Until a key ends it, or Ctrl-C, which is as good."""
    from benchrig.cli.common import console
    from benchrig.cli.live import show
    from benchrig.cli.scan_view import ScanView
    from benchrig.desk.airlist import hearing

    title = f"{desk.radio.name}{'  SIMULATED' if desk.radio.simulated else ''}"
    view = ScanView(air, desk.names, desk.now, title, order, ascii_only=console().options.ascii_only)
    with contextlib.suppress(asyncio.CancelledError):
        async with hearing(desk, air, active=active):
            await show(view)
    tell(f"{len(air.fitting())} devices that match, {len(air.heard)} in all, {air.total} reports")


async def _once(desk: Desk, air: AirList, seconds: float, order: Order, *, active: bool) -> list[HeardDevice]:
    from benchrig.desk.airlist import described, listen

    await listen(desk, air, seconds, active=active)
    now = desk.now()
    return [described(row, now, fields=True) for row in air.ordered(order, now)]


def _print(devices: list[HeardDevice], desk: DeskOptions, as_json: bool) -> None:
    from benchrig.cli.scan_table import printed

    if as_json:
        for device in devices:
            print_json(device)
    else:
        for line in printed(devices, desk.names):
            click.echo(line)


async def _each_report(desk: Desk, air: AirList, seconds: float | None, as_json: bool, *, active: bool) -> None:
    """Without a time Ctrl-C is the ordinary end."""
    from benchrig.cli.scan_table import report_line
    from benchrig.desk.airlist import report_as_data, reports

    started = desk.now()
    try:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds), contextlib.aclosing(reports(desk, air, active=active)) as coming:
                async for row, report in coming:
                    said = {"at": round(report.at - started, 6)} | report_as_data(row, report)
                    print_json(said) if as_json else click.echo(report_line(said, desk.names))
    except asyncio.CancelledError:
        if seconds is not None:
            raise
