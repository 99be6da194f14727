"""Steps within steps: reads one after the other, in groups and in rounds; check of a long plan of groups."""

from __future__ import annotations

import tempfile
import time
from functools import partial
from pathlib import Path

import click

from benchrig.plan.loader import load_plan
from tests.benchmarks.timing import best_in_turn, print_ratio
from tests.run.kit import device_text, plan_text, run

AIM = 0.8
READS, IN_GROUP = 600, 10
LIMIT = "expect: {value: {min: 50 %}}"
DEVICE = device_text("services:\n  - service: battery service\n    characteristics:\n"
                     "      - {characteristic: battery level, properties: [read], value: 80 %}")  # fmt: skip


def reads(first: int, count: int, pad: str) -> str:
    return "".join(f"{pad}- {{read: battery level, name: r{first + n}, {LIMIT}}}\n" for n in range(count))


def in_groups(count: int) -> str:
    begins = range(0, count, IN_GROUP)
    return "".join(f"  - group: g{first}\n    steps:\n{reads(first, IN_GROUP, '      ')}" for first in begins)


def in_rounds(count: int) -> str:
    return f"  - repeat: {count}\n    steps:\n{reads(0, 1, '      ')}    expect: {{r0.value.p95: {{min: 50 %}}, failed: {{max: 0}}}}\n"


def rate(steps: str) -> float:
    """Reads a CPU second."""
    started = time.process_time()
    ran = run(plan_text(steps), DEVICE)
    assert ran.ended.exit_code == 0, ran.ended.message
    return READS / (time.process_time() - started)


def trees() -> None:
    ways = {"one after the other": reads(0, READS, "  "), "in groups": in_groups(READS), "in rounds": in_rounds(READS)}
    best = best_in_turn(3, {name: partial(rate, steps) for name, steps in ways.items()})
    flat = {name: each for name, each in best.items() if name == "one after the other"}
    for name in ("in groups", "in rounds"):
        print_ratio("reads", {name: best[name]} | flat, "a CPU second", AIM)
    long_plan(5_000)


def long_plan(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "plan.yaml")
        path.write_text(plan_text(in_groups(count)), "utf-8")
        started = time.process_time()
        load_plan(path)
        seconds = time.process_time() - started
    click.echo(f"check of {count:,} steps in groups: {seconds:.2f} s (aim < 0.9)")
