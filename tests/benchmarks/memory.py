"""The memory of a process while a notify step judges many notifications: statistics, no samples, so it stays flat."""

from __future__ import annotations

import time
from pathlib import Path

import click

from benchrig.record.model import AnyEvent, Opened
from benchrig.run.runner import Runner
from tests.benchmarks.rates import DEVICE, Span, notify_plan
from tests.run.kit import run


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
