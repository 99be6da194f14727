"""The plans and limit sets that are approved at a station, each by the hash of what is in its files.

The file keeps all approvals, the newest ones last: of those for the same files the last one holds.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from benchrig.errors import UsageError
from benchrig.files import write_whole
from benchrig.line.plans import HERE, PlanFiles, files_of, load
from benchrig.plan.model import Plan
from benchrig.source.loading import load_struct
from benchrig.source.shape import Misfit
from benchrig.source.writing import scalar
from benchrig.station.station import Station
from benchrig.text.escape import plain

_ADVICE = "let this user write to the file, or name another under approvals: of the station file"
_HASH = 64


class Approval(msgspec.Struct, omit_defaults=True, frozen=True):
    """`sha256` is the hash of the plan with all files that it includes."""

    plan: str  # its name
    file: str
    sha256: str
    by: str
    at: str
    limits: str = ""
    limits_sha256: str = ""

    def misfits(self) -> Iterable[Misfit]:
        for key in ("sha256", *(["limits_sha256"] if self.limits else [])):
            text = getattr(self, key)
            if len(text) != _HASH or not set(text) <= set("0123456789abcdef"):
                yield Misfit(f"expected a SHA-256 of {_HASH} hex digits, found '{plain(text)}'", _HOW, (key,))
        if not self.by.strip():
            yield Misfit("expected who has approved it, found nothing", _HOW, ("by",))


_HOW = "approve it with: benchrig line approve STATION --by NAME"


class Approvals(msgspec.Struct, omit_defaults=True, frozen=True):
    approvals: list[Approval] = []

    def newest(self, files: PlanFiles) -> Approval | None:
        """The one that holds for these files."""
        return next((each for each in reversed(self.approvals) if _files(each) == files), None)


@dataclass(frozen=True)
class Wanted:
    """What a unit is to be tested with. `limits_sha256` is '' without a limit set."""

    plan: str
    files: PlanFiles
    sha256: str
    limits_sha256: str = ""

    @classmethod
    def of(cls, plan: Plan, files: PlanFiles) -> Wanted:
        """`files` are those that it was loaded from."""
        return cls(plan.name, files, plan.hash, plan.limit_set.sha256 if plan.limit_set else "")


def _files(approval: Approval) -> PlanFiles:
    return PlanFiles(approval.file, approval.limits)


def approvals_path(station: Station, path: Path) -> Path:
    """The file of the approvals of the station in the file `path`; without a word of it one beside that."""
    return Path(station.approvals) if station.approvals else path.with_suffix(".approvals.yaml")


def load_approvals(path: Path) -> Approvals:
    """None approved where there is no such file. PlanError for one that is damaged."""
    if not os.path.lexists(path):
        return Approvals()
    return load_struct(path, Approvals, "a file of approvals", "write it with: benchrig line approve STATION --by NAME")


def refused(approvals: Approvals, wanted: Wanted) -> str:
    """Why it may not be tested with, with both hashes; '' when it is approved."""
    newest = approvals.newest(wanted.files)
    if newest is None:
        return f"the plan {plain(wanted.files.plan)}{_under(wanted)} is not approved at this station: SHA-256 {_shown(wanted)}"
    approved = (newest.sha256, newest.limits_sha256)
    if approved == (wanted.sha256, wanted.limits_sha256):
        return ""
    if newest.sha256 != wanted.sha256:
        return f"the plan {_changed(newest, wanted, newest.sha256, wanted.sha256)}"
    return f"the limit set of the plan {_changed(newest, wanted, newest.limits_sha256, wanted.limits_sha256)}"


def _changed(newest: Approval, wanted: Wanted, old: str, new: str) -> str:
    who = f"was changed since {plain(newest.by)} approved it at {plain(newest.at)}"
    return f"{plain(wanted.files.plan)}{_under(wanted)} {who}: expected SHA-256 {old or 'none'}, found {new or 'none'}"


def _under(wanted: Wanted) -> str:
    return f" with the limit set {plain(wanted.files.limits)}" if wanted.files.limits else ""


def _shown(wanted: Wanted) -> str:
    return wanted.sha256 + (f", limit set {wanted.limits_sha256}" if wanted.limits_sha256 else "")


# --- approving


def all_wanted(station: Station, folder: Path = HERE, products: Collection[str] = ()) -> list[Wanted]:
    """What units of these products, or of all, are tested with. PlanError for a plan that does not load, UsageError for an
    unknown product."""
    return [Wanted.of(load(station, folder, files, None), files) for files in files_of(station, products)]


def approve(path: Path, wanted: Sequence[Wanted], by: str, at: datetime) -> list[Approval]:
    """Write those that are not approved yet behind what is there; what was added. PlanError for a damaged file, UsageError
    without a name, StationError when it cannot be written."""
    if not by.strip():
        raise UsageError("expected who approves, found nothing", advice="give a name: --by 'A. Berg'")
    before = load_approvals(path)
    added = [_approval(each, by.strip(), at) for each in dict.fromkeys(wanted) if refused(before, each)]
    if added:
        write_whole(path, approvals_text([*before.approvals, *added]).encode(), advice=_ADVICE)
    return added


def _approval(wanted: Wanted, by: str, at: datetime) -> Approval:
    when = at.astimezone(UTC).isoformat(timespec="seconds")
    files = wanted.files
    return Approval(wanted.plan, files.plan, wanted.sha256, by, when, files.limits, wanted.limits_sha256)


def approvals_text(approvals: Iterable[Approval]) -> str:
    """The file, which reads as just these."""
    lines = ["# who approved which plan for this station; written by: benchrig line approve", "approvals:"]
    for each in approvals:
        said = [(name, getattr(each, name)) for name in each.__struct_fields__]
        fields = [(name, value) for name, value in said if value or not name.startswith("limits")]
        lines += [f"  {'- ' if not at else '  '}{name}: {scalar(value)}" for at, (name, value) in enumerate(fields)]
    return "\n".join(lines) + "\n"
