"""The live views under load: what a second of a crowded air, and of a fast stream, costs with its redraws."""

from __future__ import annotations

import asyncio
import contextlib
import io
import random
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import click
from prompt_toolkit.data_structures import Size
from prompt_toolkit.output import Output
from prompt_toolkit.output.vt100 import Vt100_Output

from benchrig.cli.scan_view import ScanView
from benchrig.cli.watch_view import WatchView
from benchrig.desk.airlist import AirList
from benchrig.desk.desk import Desk, DeskOptions
from benchrig.desk.running import run_desk
from benchrig.desk.series import Arrival
from benchrig.desk.watch_file import WatchFile
from benchrig.desk.watching import Watch
from benchrig.radio.scan import Report
from benchrig.radio.specify import RadioChoice
from benchrig.steps.attribute import Names
from benchrig.terminal.live import REDRAW, Screen

AIM = 1.0
SIZE = (160, 50)
STREAM = "6b1d0003-9a53-4c86-8a3e-2f0f6c1d7e40"
DEVICE = f"""
device: unit 1
address: 'C4:00:00:00:00:01'
services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: {STREAM}
        fields: [{{name: number, as: uint32}}, {{name: level, as: sint16, scale: 0.01, unit: °C}}]
        properties: [notify]
        value: {{number: {{counter: {{}}}}, level: {{noise: {{mean: 21 °C, sd: 1 °C}}}}}}
        notify: {{period: 1 ms}}
"""


def _terminal() -> Output:
    """One that keeps what is written."""
    return Vt100_Output(io.StringIO(), lambda: Size(rows=SIZE[1], columns=SIZE[0]))


def scan_list(devices: int = 500, a_second: int = 10, seconds: int = 20) -> None:
    """Reports through the list, with the redraws that the live view makes in that time."""
    order = random.Random(1)
    reports = list(_crowd(devices, a_second, seconds, order))
    air, screen = AirList(), Screen(_terminal())
    now = 0.0
    view = ScanView(air, Names(), lambda: now, "a radio", "level")
    redraws, drawing, slowest, next_redraw = 0, 0.0, 0.0, REDRAW
    started = time.process_time()
    for report in reports:
        now = report.at
        air.add(report)
        if now >= next_redraw:
            next_redraw += REDRAW
            before = time.process_time()
            screen.draw(view.lines(*SIZE))
            took = time.process_time() - before
            redraws, drawing, slowest = redraws + 1, drawing + took, max(slowest, took)
    spent = time.process_time() - started
    lost = len(reports) - sum(row.sighting.count for row in air.fitting())
    click.echo(
        f"scan list, {devices} devices, {len(reports) / seconds:,.0f} reports/s: {spent / seconds:.3f} s of CPU a second "
        f"(aim < {AIM:g}), {lost} of {len(reports):,} lost; {redraws / seconds:.1f} redraws/s, {1000 * drawing / redraws:.1f} ms each, "
        f"the slowest {1000 * slowest:.1f} ms"
    )


def _crowd(devices: int, a_second: int, seconds: int, order: random.Random) -> Iterator[Report]:
    """Reports of all devices in turn, evenly over time, with data that change."""
    for number in range(devices * a_second * seconds):
        which = number % devices
        yield Report(
            at=number / (devices * a_second),
            address=f"C4:00:00:00:{which >> 8:02X}:{which & 0xFF:02X}",
            address_type="random",
            name=f"tag {which}",
            rssi=-40 - which % 50 + order.randint(-3, 3),
            services=("0000181a-0000-1000-8000-00805f9b34fb",),
            manufacturer_data={0xFFFF: number.to_bytes(4, "little")},
            service_data={},
            tx_power=None,
        )


def watching(a_second: int = 1000, seconds: int = 20) -> None:
    """Notifications of a structure through a watch, with redraws and a file; the radio's own work counts too."""
    with tempfile.TemporaryDirectory() as name:
        device, file = Path(name) / "device.yaml", Path(name) / "watch.csv"
        device.write_text(DEVICE, encoding="utf-8")
        options = DeskOptions(RadioChoice("virtual", files=(device,)), names=_names())
        spent, numbers = run_desk(options, lambda desk: _watch(desk, file, float(seconds)), click.echo)
        rows = len(file.read_text(encoding="utf-8").splitlines()) - 1
    lost = numbers[-1] + 1 - len(numbers)
    click.echo(
        f"watch, {len(numbers) / seconds:,.0f} notifications/s of two fields (aim {a_second:,}): {spent / seconds:.3f} s of CPU a "
        f"second with redraws and a file (aim < {AIM:g}), {lost} of {numbers[-1] + 1:,} lost, {rows:,} rows saved"
    )


def _names() -> Names:
    from benchrig.steps.attribute import AttributeSpec, Uuid
    from benchrig.values.format import FieldSpec
    from benchrig.values.spec import Exact

    fields = [FieldSpec(name="number", as_="uint32"), FieldSpec(name="level", as_="sint16", scale=Exact("0.01"), unit="°C")]  # fmt: skip
    return Names({"stream": AttributeSpec(uuid=Uuid(STREAM), fields=fields)})


async def _watch(desk: Desk, path: Path, seconds: float) -> tuple[float, list[int]]:
    watch = Watch(desk, ["stream"], seconds=seconds)
    view, screen = WatchView(watch, "a radio"), Screen(_terminal())
    numbers: list[int] = []

    async def redraw() -> None:
        while True:
            screen.draw(view.lines(*SIZE))
            await asyncio.sleep(REDRAW)

    file = WatchFile(path, watch, radio="virtual", simulated=True)
    drawing = asyncio.ensure_future(redraw())
    started = time.process_time()
    async with contextlib.aclosing(watch.events()) as events:
        async for event in events:
            file.add(event)
            view.take(event)
            assert isinstance(event, Arrival)
            numbers.append(event.value["number"])
    spent = time.process_time() - started
    drawing.cancel()
    file.close()
    return spent, numbers
