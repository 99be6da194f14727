"""Where reports go: what may be taken from there before a run."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.files import is_special

# How each kind of report begins, within its first kilobyte.
_BEGINNING = {"--junit": b"<testsuite", "--csv": b"run_id,started,"}
_HEAD = 1024


def make_way(reports: Mapping[str, Path | None], others: Mapping[str, Path | None]) -> None:
    """Take older reports from their places, by the option that names each, and see that new ones can be written
    there: a run that ends early must not leave yesterday's behind. UsageError, before anything is run, when that
    cannot be, when two (or one and another file of the run) are one file, and for a file that is no report: it may
    be the plan."""
    places = {option: path for option, path in reports.items() if path is not None}
    _are_different({**{option: path for option, path in others.items() if path is not None}, **places})
    for option, path in places.items():
        try:
            _make_way(option, path)
        except OSError as exc:
            raise UsageError(f"{path} cannot be written: {exc.strerror or exc}", advice="give another file") from exc


def _are_different(places: Mapping[str, Path]) -> None:
    seen: dict[str, str] = {}
    for option, path in places.items():
        where = os.path.realpath(path)
        if where in seen and not is_special(path):
            raise UsageError(f"{seen[where]} and {option} name the same file {path}", advice="give two files")
        seen[where] = option


def _make_way(option: str, path: Path) -> None:
    if is_special(path):
        return
    if path.is_file() and not _may_go(option, path):
        raise UsageError(
            f"{option} {path}: the file exists and is no earlier report", advice="give another file, or remove this one"
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("ab"):
        pass
    path.unlink()


def _may_go(option: str, path: Path) -> bool:
    with path.open("rb") as file:
        head = file.read(_HEAD)
    return not head or _BEGINNING.get(option, b"") in head
