"""A scan that finds its unit among many others: how long it takes, and how much faster than the air it goes."""

from __future__ import annotations

import time

import click

from tests.run.kit import device_text, run

PLAN = """
plan: one of many
device:
  select: {name: unit 1}
steps:
  - scan:
    for: 10 s
    expect: {found_after: {max: 2 s}}
"""


def crowded_scan(others: int = 500) -> None:
    crowd = (
        f"others: [{{count: {others}, name: 'tag {{number}}', rssi: {{mean: -80 dBm, spread: 6 dB}}, "
        "advertising: {interval: 1 s}}]"
    )
    started = time.process_time()
    ran = run(PLAN, device_text(more=crowd))
    seconds = time.process_time() - started
    assert ran.ended.verdict == "pass", ran.ended.message
    found = ran.reading(1, "found_after").value
    click.echo(f"a scan of 10 s with {others} others: found after {found * 1000:.0f} ms, {seconds:.2f} s of CPU in all")
