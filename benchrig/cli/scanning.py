"""The three ways in which `benchrig scan` shows what it hears: live, once, and report by report."""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING

from benchrig.cli.out import echo, print_json, tell
from benchrig.cli.scan_table import printed, report_line
from benchrig.cli.scan_view import ScanView
from benchrig.desk.airlist import AirList, HeardDevice, SortOrder, described, listen, report_as_data, reports
from benchrig.terminal import console
from benchrig.terminal.live import show

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk, DeskOptions


async def live(desk: Desk, air: AirList, order: SortOrder, *, active: bool) -> None:
    """Until a key ends it, or Ctrl-C, which is as good."""
    title = f"{desk.radio.name}{'  SIMULATED' if desk.radio.simulated else ''}"
    view = ScanView(air, desk.names, desk.now, title, order, ascii_only=console().options.ascii_only)
    with contextlib.suppress(asyncio.CancelledError):
        async with desk.hearing(air.add, active=active):
            await show(view)
    tell(f"{len(air.fitting())} of {len(air.heard)} devices matched, {air.total} reports in all")


async def once(desk: Desk, air: AirList, seconds: float, order: SortOrder, *, active: bool) -> list[HeardDevice]:
    """What was heard within so many seconds."""
    async with desk.showing(f"listening for {seconds:g} s"):
        await listen(desk, air, seconds, active=active)
    now = desk.now()
    return [described(row, now, fields=True) for row in air.ordered(order, now)]


def print_devices(devices: list[HeardDevice], desk: DeskOptions, as_json: bool) -> None:
    """As a table, or as one JSON document a line."""
    if as_json:
        for device in devices:
            print_json(device)
    else:
        for line in printed(devices, desk.names):
            echo(line)


async def each_report(desk: Desk, air: AirList, seconds: float | None, as_json: bool, *, active: bool) -> None:
    """Print every report as it comes. Without a time Ctrl-C is the ordinary end."""
    started = desk.now()
    try:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds), contextlib.aclosing(reports(desk, air, active=active)) as coming:
                async for row, report in coming:
                    said = {"seconds": round(report.at - started, 6)} | report_as_data(row, report)
                    print_json(said) if as_json else echo(report_line(said, desk.names))
    except asyncio.CancelledError:
        if seconds is not None:
            raise
