"""`benchrig line approve`: which plans and limit sets units of a station are tested with."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import option
from benchrig.cli.out import echo, whatever_the_output_does
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from benchrig.line.approving import Approval, Approvals, Wanted


@click.command(short_help="Approve the plans and limit sets of a station.")
@click.argument("station", type=click.Path(path_type=Path))
@click.argument("products", nargs=-1, metavar="[PRODUCT]…")
@option("--by", required=True, metavar="NAME", help="Who approves; written down with the time.")
def approve(station: Path, products: tuple[str, ...], by: str) -> None:
    """Approve the plans of these products, or of all, as they are now: each with its limit set, and with those of the golden
    units. A line tests with nothing else. A plan that is changed after that has to be approved again.

    \b
    Example:
      benchrig line approve line3.yaml --by 'A. Berg'
      benchrig line approve line3.yaml logger --by 'A. Berg'
    """
    with errors_for_people():
        from benchrig.line.approving import all_wanted, approvals_path, approve, load_approvals
        from benchrig.station.station import load_station

        loaded = load_station(station)
        wanted = all_wanted(loaded, products=products)
        path = approvals_path(loaded, station)
        added = approve(path, wanted, by, datetime.now(UTC))
        _tell(path, wanted, load_approvals(path), added)


def _tell(path: Path, wanted: Iterable[Wanted], approvals: Approvals, added: list[Approval]) -> None:
    with whatever_the_output_does():
        for each in wanted:
            approval = approvals.newest(each.files)
            assert approval is not None
            echo(_told(approval, is_new=approval in added))
        echo(f"written to {path}" if added else f"all of these were approved before: {path} stays as it is")


def _told(approval: Approval, *, is_new: bool) -> str:
    before = "" if is_new else f" before, by {plain(approval.by)} at {plain(approval.at)}"
    lines = [f"approved{before}: {plain(approval.plan)}", f"  {plain(approval.file)}  SHA-256 {approval.sha256}"]
    if approval.limits:
        lines.append(f"  {plain(approval.limits)}  SHA-256 {approval.limits_sha256}")
    return "\n".join(lines)
