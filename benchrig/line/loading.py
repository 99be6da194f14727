"""The plan of a unit, loaded anew for each one: with the values of its barcode, held against what is approved."""

from __future__ import annotations

from pathlib import Path

from benchrig.errors import UsageError
from benchrig.line.approving import Wanted, approvals_path, load_approvals, refused
from benchrig.line.barcode import Match
from benchrig.line.golden_limits import TIGHTER, why_no_golden_limits
from benchrig.line.plans import files_for, load, values_for
from benchrig.plan.model import Plan
from benchrig.station.station import Station

# Paths are seen from the current folder, as all that a station file names.
HERE = Path()


def plan_of(station: Station, file: Path, match: Match, seed: int | None) -> tuple[Plan, Wanted]:
    """For the unit of a label, at the station in `file`; with what of it was approved. PlanError for a plan with mistakes,
    UsageError for one that is not for a line, or that is not approved here."""
    files = files_for(station, match.product, match.reference)
    asked = load(station, HERE, files, None).given
    plan = load(station, HERE, files, values_for(station, match.product, match.values, asked), seed)
    if why := why_no_golden_limits(station, match.product, match.reference, match.values, plan, seed):
        raise UsageError(why, advice=TIGHTER)
    if len(plan.devices) != 1:
        raise UsageError(f"{files.plan} selects {len(plan.devices)} devices: a line tests one unit in a slot")
    wanted = Wanted.of(plan, files)
    if why := refused(load_approvals(approvals_path(station, file)), wanted):
        raise UsageError(why, advice=f"let somebody who may approve it run: benchrig line approve {file} --by NAME")
    return plan, wanted
