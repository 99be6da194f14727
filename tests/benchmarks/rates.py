"""Reads and notifications a second: through the runner, with limits and a record on disk, and in a bare loop over the
same client on a radio and a device of the same kind."""

from __future__ import annotations

import asyncio
import gc
import tempfile
import time
from collections.abc import Awaitable, Callable
from functools import partial
from pathlib import Path

from bleak import BleakClient, BleakScanner

from benchrig import collector
from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.bumble_stack import BumbleClient, BumbleScanner
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual import clock, load_devices, open_air
from benchrig.record.events import AnyEvent, Closed, Opened
from benchrig.run.choose import choose_steps
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Problems
from benchrig.station.station import Station
from tests.benchmarks.timing import Clock, best_in_turn, print_ratio
from tests.run.kit import plan_text

AIM = 0.9
READ, SENT, ONE, OTHER = (f"6b1d000{number}-9a53-4c86-8a3e-2f0f6c1d7e40" for number in (2, 3, 4, 5))
HERTZ = 100
FORMAT = "as: sint16, scale: 0.01, unit: °C"
ATTRIBUTES = f"    level: {{uuid: {READ}, {FORMAT}}}\n    stream: {{uuid: {SENT}, {FORMAT}}}"
ATTRIBUTES += f"\n    one: {{uuid: {ONE}, {FORMAT}}}\n    other: {{uuid: {OTHER}, {FORMAT}}}"
DEVICE = f"""
device: unit 1
address: 'C4:00:00:00:00:01'
advertising: {{interval: 20 ms, data: {{flags: 0x06, name: unit 1}}}}
services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {{characteristic: {READ}, {FORMAT}, properties: [read], value: 21.5 °C}}
      - {{characteristic: {SENT}, {FORMAT}, properties: [notify], value: 21.5 °C, notify: {{period: 1 ms}}}}
      - {{characteristic: {ONE}, {FORMAT}, properties: [notify], value: 21.5 °C, notify: {{period: {1000 // HERTZ} ms}}}}
      - {{characteristic: {OTHER}, {FORMAT}, properties: [notify], value: 21.5 °C, notify: {{period: {1000 // HERTZ} ms}}}}
"""
LIMIT = "expect: {value: {min: 15 °C, max: 30 °C}}"


def reads_plan(count: int) -> str:
    return plan_text(f"  - read: level\n    {LIMIT}\n" * count, attributes=ATTRIBUTES)


def notify_plan(count: int) -> str:
    step = f"  - notify: stream\n    count: {count}\n    within: 1 h\n    {LIMIT}\n"
    return plan_text(step, attributes=ATTRIBUTES)


class Span:
    """Seconds from the start of the first step after scan and connect to the end of the last, as the events tell."""

    FIRST = 3

    def __init__(self, read_clock: Clock) -> None:
        self._clock = read_clock
        self._started = self.seconds = 0.0

    def __call__(self, event: AnyEvent) -> None:
        if isinstance(event, Opened) and event.where.node == str(self.FIRST):
            self._started = self._clock()
        elif isinstance(event, Closed):
            self.seconds = self._clock() - self._started


def through_runner(text: str, count: int, *, real_time: bool = False) -> float:
    """Things a second when the plan runs as `benchrig run` does it; CPU seconds on the virtual clock."""
    collector.begin()
    span = Span(time.perf_counter if real_time else time.process_time)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plan_file, device_file = folder / "plan.yaml", folder / "device.yaml"
        plan_file.write_text(text, encoding="utf-8")
        device_file.write_text(DEVICE, encoding="utf-8")
        plan = load_plan(plan_file, {})
        radio = RadioChoice("virtual", files=(device_file,))
        options = RunOptions(plan, choose_steps(plan), Station("bench"), radio, folder, real_time=real_time)
        ended = launch(options, Unattended(), [span]).record.ended
    gc.unfreeze()
    assert ended is not None
    assert ended.verdict == "pass", ended.message
    return count / span.seconds


def bare(work: Callable[[BleakClient, Clock], Awaitable[float]], count: int, *, real_time: bool = False) -> float:
    """The same for `work` with a connected client; it returns the seconds that it took."""

    async def main() -> float:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "device.yaml"
            path.write_text(DEVICE, encoding="utf-8")
            air = await open_air(load_devices([path], Problems()), seed=0)
        device = await BleakScanner.find_device_by_name("unit 1", backend=BumbleScanner, stack=air.stack)
        assert device is not None
        async with BleakClient(device, backend=BumbleClient, stack=air.stack) as client:
            seconds = await work(client, time.perf_counter if real_time else time.process_time)
        await air.close()
        return seconds

    return count / clock.run(main(), real_time=real_time)


def bare_reads(count: int, *, real_time: bool = False) -> float:
    async def work(client: BleakClient, read_clock: Clock) -> float:
        started = read_clock()
        for _ in range(count):
            await client.read_gatt_char(READ)
        return read_clock() - started

    return bare(work, count, real_time=real_time)


def bare_notifications(count: int) -> float:
    async def work(client: BleakClient, read_clock: Clock) -> float:
        done = asyncio.Event()
        left = count

        def heard(_: object, data: bytearray) -> None:
            nonlocal left
            left -= 1
            if not left:
                done.set()

        started = read_clock()
        await client.start_notify(SENT, heard)
        await done.wait()
        seconds = read_clock() - started
        await client.stop_notify(SENT)
        return seconds

    return bare(work, count)


def reads(rounds: int = 5, count: int = 2_000) -> None:
    plan = reads_plan(count)
    work = {"runner": lambda: through_runner(plan, count), "bare loop": lambda: bare_reads(count)}
    print_ratio(f"{count:,} reads, each a step with a limit", best_in_turn(rounds, work), "reads/CPU s", AIM)


def paced_reads(rounds: int = 3, count: int = 100) -> None:
    plan = reads_plan(count)
    work = {
        "runner": lambda: through_runner(plan, count, real_time=True),
        "bare loop": lambda: bare_reads(count, real_time=True),
    }
    best = best_in_turn(rounds, work)
    print_ratio(f"{count:,} reads at the radio's own pace, by the wall clock", best, "reads/s", AIM)


def two_streams(rounds: int = 5, seconds: int = 50) -> None:
    """Both at once, and one after the other."""
    count, limits = 2 * HERTZ * seconds, "{min: 15 °C, max: 30 °C}"
    at_once = f"  - listen: {{one: {{}}, other: {{}}}}\n    steps: [{{wait: {seconds} s}}]\n"
    at_once += f"    expect: {{one.value: {limits}, other.value: {limits}}}\n"
    in_turn = "".join(f"  - notify: {name}\n    for: {seconds} s\n    {LIMIT}\n" for name in ("one", "other"))
    plans = {name: plan_text(text, attributes=ATTRIBUTES) for name, text in (("listen", at_once), ("notify", in_turn))}
    work = {name: partial(through_runner, plan, count) for name, plan in plans.items()}
    print_ratio(f"two streams of {HERTZ} Hz", best_in_turn(rounds, work), "notifications/CPU s", AIM)


def notifications(rounds: int = 5, count: int = 20_000) -> None:
    plan = notify_plan(count)
    work = {"runner": lambda: through_runner(plan, count), "bare loop": lambda: bare_notifications(count)}
    best = best_in_turn(rounds, work)
    print_ratio(f"{count:,} notifications, each held against a limit", best, "notifications/CPU s", AIM)
