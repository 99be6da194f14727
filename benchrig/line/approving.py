"""The plans and limit sets that are approved at a station, each by the hash of what is in its files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec

from benchrig.station.station import Station


class Approval(msgspec.Struct, omit_defaults=True, frozen=True):
    """`sha256` is the hash of the plan with all files that it includes."""

    plan: str  # its name
    file: str
    sha256: str
    by: str
    at: str
    limits: str = ""
    limits_sha256: str = ""


class Approvals(msgspec.Struct, omit_defaults=True, frozen=True):
    approvals: list[Approval] = []


@dataclass(frozen=True)
class Wanted:
    """What a unit is to be tested with. `limits` is '' without a limit set."""

    plan: str
    file: str
    sha256: str
    limits: str = ""
    limits_sha256: str = ""


def approvals_path(station: Station, path: Path) -> Path:
    """The file of the approvals of the station in the file `path`."""
    raise NotImplementedError


def load_approvals(path: Path) -> Approvals:
    """None approved where there is no such file. PlanError for one that is damaged."""
    raise NotImplementedError


def refused(approvals: Approvals, wanted: Wanted) -> str:
    """Why it may not be tested with, with both hashes; '' when it is approved."""
    raise NotImplementedError


def approve(path: Path, wanted: Sequence[Wanted], by: str, at: str) -> None:
    """Write them beside those that are there. StationError when it cannot be written."""
    raise NotImplementedError
