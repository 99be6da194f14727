"""`python -m tests.benchmarks`: measure, and print each number beside its aim. `--long` adds what takes minutes."""

from __future__ import annotations

import click

from tests.benchmarks.commands import commands
from tests.benchmarks.escapes import escapes
from tests.benchmarks.filling import filling
from tests.benchmarks.journal import journal
from tests.benchmarks.line import line
from tests.benchmarks.live import scan_list, watching
from tests.benchmarks.memory import many_addresses, many_notifications
from tests.benchmarks.peer import peer
from tests.benchmarks.pytest_plans import pytest_plans
from tests.benchmarks.questions import questions
from tests.benchmarks.rates import notifications, paced_reads, reads, two_streams
from tests.benchmarks.robust import robust
from tests.benchmarks.runs import runs
from tests.benchmarks.scan import crowded_scan
from tests.benchmarks.table import table
from tests.benchmarks.trees import trees

PARTS = {
    "reads": reads,
    "paced": paced_reads,
    "notifications": notifications,
    "streams": two_streams,
    "runs": runs,
    "pytest": pytest_plans,
    "robust": robust,
    "escapes": escapes,
    "commands": commands,
    "scan": crowded_scan,
    "scanlist": scan_list,
    "watching": watching,
    "line": line,
    "journal": journal,
    "peer": peer,
    "table": table,
    "filling": filling,
    "questions": questions,
    "trees": trees,
}


@click.command()
@click.argument("parts", nargs=-1, type=click.Choice(list(PARTS)))
@click.option(
    "--long", is_flag=True, help="Also judge 1,000,000 notifications and hear 1,000,000 addresses: some minutes."
)
def main(parts: tuple[str, ...], long: bool) -> None:
    """Run all PARTS, or those that are named."""
    for part in parts or PARTS:
        PARTS[part]()
    if long or not parts:
        many_notifications(1_000_000 if long else 20_000)
        many_addresses(1_000_000 if long else 20_000)


main()
