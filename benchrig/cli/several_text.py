"""The end of a call with several runs: a line a plan, why what did not pass, and what all came to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.report.table import STYLES
from benchrig.series.units import different
from benchrig.text.escape import plain
from benchrig.text.tables import print_line, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from benchrig.series.tally import Tally, Total

_REASONS = 20
_STYLES = STYLES | {"flaky": "bold yellow", "not run": "bold yellow"}
_OF_HEADS = {"PASS": "pass", "FAIL": "fail", "NOT JUDGED": "not judged"}
_ROOM = 4


def show_total(total: Total, console: Console) -> None:
    """In columns where there is room for whole folders, else two lines a plan."""
    repeated = total.is_repeated
    headings = ["plan", "verdict", *["passed"] * repeated, "cause", "time", "folder"]
    rows = [(_cells(tally, repeated=repeated), _STYLES.get(tally.verdict, "")) for tally in total.tallies]
    widths = [max(map(len, column)) for column in zip(headings, *(cells for cells, _ in rows), strict=True)]
    if sum(widths) + len(widths) - 1 <= console.width:
        print_table(console, headings, rows, right=["time"], whole=headings)
    else:
        _list(rows, console, repeated=repeated)
    _show_reasons(total, console)
    if units := different(run.seen for run in total.runs):
        print_line(console, ("the units differ: ", "bold"), ("; ".join(units), ""), hang=2)
    head = total.head
    style = _STYLES[_OF_HEADS.get(head.partition(",")[0], "error")]
    print_line(console, (f"{head}: ", style), (total.sentence, ""), hang=2)


def _list(rows: Sequence[tuple[list[str], str]], console: Console, *, repeated: bool) -> None:
    for (path, verdict, *told, folder), style in rows:
        if repeated:
            told[0] += " passed"
        print_line(console, (path, "bold"))
        print_line(console, ("  ".join(filter(None, [verdict, *told])), style), indent=_ROOM)
        if folder:
            print_line(console, (folder, "dim"), indent=_ROOM)


def _cells(tally: Tally, *, repeated: bool) -> list[str]:
    run = tally.decisive
    folder = plain(str(run.folder), 1000) if run.folder else ""
    return [
        plain(str(tally.path), 1000),
        tally.verdict,
        *[tally.times] * repeated,
        run.cause,
        f"{tally.seconds:.1f} s",
        folder,
    ]


def _show_reasons(total: Total, console: Console) -> None:
    told = [run for run in total.runs if run.reason]
    console.print()
    for run in told[:_REASONS]:
        times = f" (repetition {run.repetition})" if total.is_repeated else ""
        print_line(console, (f"{plain(str(run.path), 1000)}{times}: ", "bold"), (run.reason, ""), hang=2)
    if (more := len(told) - _REASONS) > 0:
        print_line(console, (f"{more} more are in the records", "dim"))
