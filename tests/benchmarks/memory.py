"""The memory of a process in which much happens, and that must stay flat: a notify step judges many notifications, a scan
and a scan step hear many addresses."""

from __future__ import annotations

import asyncio
import random
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

import click

from benchrig.radio.bumble_stack import BumbleScanner
from benchrig.radio.bumble_stack.reports import HeardPdu
from benchrig.record.events import AnyEvent, Opened
from benchrig.run.runner import Runner
from tests.benchmarks.rates import DEVICE, Span, notify_plan
from tests.cli.calling import call
from tests.run.kit import run

SCAN = "plan: a\ndevice: {select: {name: unit 1}}\nsteps:\n  - scan:\n    for: 60 s\n    within: 90 s\n"
# Addresses that come together, and the time from these to the next: the last of a million comes in the 30th second.
TOGETHER, APART = 500, 0.015


def resident() -> float:
    """MiB of this process that are in memory now (Linux)."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise OSError("the kernel does not tell the resident size")


def many_notifications(count: int) -> None:
    before = 0.0

    def watch(_: Runner, event: AnyEvent) -> None:
        nonlocal before
        if isinstance(event, Opened) and event.where.node == str(Span.FIRST):
            before = resident()

    started = time.process_time()
    ran = run(notify_plan(count), DEVICE, during=watch)
    seconds = time.process_time() - started
    samples = ran.reading(Span.FIRST).samples
    assert samples is not None
    click.echo(
        f"{samples.count:,} notifications judged in {seconds:.0f} s of CPU: "
        f"resident {before:.1f} MiB before, {resident():.1f} MiB after"
    )


@contextmanager
def addresses_heard(count: int, heard: Callable[[int], None]) -> Iterator[None]:
    """Every scanner that starts hears `count` devices once, besides the others; `heard` is told after each tenth."""
    whole, tasks = BumbleScanner.start, []

    async def feed(scanner: BumbleScanner) -> None:
        luck = random.Random(0)
        for number in range(1, count + 1):
            scanner.on_pdu(_pdu(luck.randbytes(6)))
            if number % (count // 10) == 0:
                heard(number)
            if number % TOGETHER == 0:
                await asyncio.sleep(APART)

    async def start(scanner: BumbleScanner) -> None:
        await whole(scanner)
        tasks.append(asyncio.ensure_future(feed(scanner)))

    with mock.patch.object(BumbleScanner, "start", start):
        yield
    for task in tasks:
        task.result()


def _pdu(address: bytes) -> HeardPdu:
    return HeardPdu(address, True, True, True, False, -70, bytes.fromhex("020106"))


def scan_step() -> None:
    assert run(SCAN, DEVICE).verdicts() == ["pass"]


def scan_command() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "device.yaml"
        path.write_text(DEVICE, encoding="utf-8")
        assert call("scan", "--for", "60s", "--radio", f"virtual:{path}").exit_code == 0


def many_addresses(count: int) -> None:
    for what, scan in (("a scan step", scan_step), ("benchrig scan", scan_command)):
        sizes: list[float] = []
        started = time.process_time()
        with addresses_heard(count, lambda _, sizes=sizes: sizes.append(resident())):
            scan()
        seconds = time.process_time() - started
        after = ", ".join(f"{size:.1f}" for size in sizes)
        click.echo(f"{count:,} addresses in {what}, {seconds:.0f} s of CPU: resident MiB after each tenth: {after}")
