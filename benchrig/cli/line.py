"""`benchrig line`: the station that an operator works at."""

from __future__ import annotations

import click

from benchrig.cli.lazy import LazyGroup

FILES = {
    "run": "line_run",
    "check": "line_check",
    "approve": "line_approve",
    "log": "line_log",
    "drift": "line_drift",
}


@click.group(cls=LazyGroup, files=FILES, short_help="Test units at a line: barcodes in, verdicts out.")
def line() -> None:
    """Test one unit after the other at a station: its barcode says which plan, and PASS, FAIL or STOP appears in very large
    letters. STATION is the station file, with products, slots and rules of the line.

    \b
    Example:
      benchrig line approve line3.yaml --by 'A. Berg'
      benchrig line check line3.yaml
      benchrig line run line3.yaml
      benchrig line log line3.yaml
    """
