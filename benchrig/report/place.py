"""Where reports go: what may be taken from there before a run."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.errors import UsageError
from benchrig.files import is_special

if TYPE_CHECKING:
    from benchrig.report.registry import ReportChoice

_HEAD = 1024


def make_way(reports: Iterable[ReportChoice], others: Mapping[str, Path | None]) -> None:
    """Take older reports from the files that options name, and see that new ones can be written there: a run that ends early must not leave yesterday's behind. UsageError, before anything is run, when that
    cannot be, when two (or one and another file of the run) are one file, and for a file that is no report: it may
    be the plan."""
    places = [(choice.report, choice.file) for choice in reports if choice.file is not None]
    _are_different([*others.items(), *((report.option, path) for report, path in places)])
    for report, path in places:
        clear(report.option, report.begins, path)


def clear(option: str, begins: bytes, path: Path) -> None:
    """The same for one file that has `begins` in its first kilobyte."""
    try:
        _clear(option, begins, path)
    except OSError as exc:
        raise UsageError(f"{path} cannot be written: {exc.strerror or exc}", advice="give another file") from exc


def _are_different(places: Iterable[tuple[str, Path | None]]) -> None:
    seen: dict[str, str] = {}
    for option, path in places:
        if path is None:
            continue
        where = os.path.realpath(path)
        if where in seen and not is_special(path):
            raise UsageError(f"{seen[where]} and {option} name the same file {path}", advice="give two files")
        seen[where] = option


def _clear(option: str, begins: bytes, path: Path) -> None:
    if is_special(path):
        return
    if path.is_file() and not _may_go(begins, path):
        raise UsageError(
            f"{option} {path}: the file exists and is not an earlier report",
            advice="give another file, or remove this one",
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("ab"):
        pass
    path.unlink()


def _may_go(begins: bytes, path: Path) -> bool:
    with path.open("rb") as file:
        head = file.read(_HEAD)
    return not head or begins in head
