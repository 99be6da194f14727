"""The reports that a run writes to files: every module in `files/` is one, by being there; other packages bring more
(`brought.py`)."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from benchrig.record.model import Record

FILES = "benchrig.report.files"
Render: TypeAlias = "Callable[[Record], bytes]"
Join: TypeAlias = Callable[[Sequence[bytes]], bytes]


@dataclass(frozen=True)
class Report:
    """One report, as REPORT of its module says."""

    name: str  # its file in the folder of a run has this name, and `suffix`
    suffix: str
    option: str  # of `run`: a further file for it
    help: str
    render: Render
    begins: bytes  # stands in its first kilobyte: how an earlier report is told from another file
    dialects: Mapping[str, Render] = field(default_factory=dict)  # ways to write it, of which an option chooses one
    join: Join | None = None  # the reports of several runs in one file; None where a file holds one run
    may_lack: bool = False  # what keeps it from being made or written is said, and changes nothing about the run

    @property
    def file_name(self) -> str:
        return self.name + self.suffix


@dataclass(frozen=True)
class ReportChoice:
    """A report of one run: where it goes besides the folder of the run, and how it is written."""

    report: Report
    file: Path | None = None
    dialect: str = ""

    def render(self, record: Record) -> bytes:
        return self.report.dialects.get(self.dialect, self.report.render)(record)


def reports() -> Iterator[Report]:
    """All reports, by the names of their modules."""
    package = importlib.import_module(FILES)
    for module in sorted(each.name for each in pkgutil.iter_modules(package.__path__)):
        yield importlib.import_module(f"{FILES}.{module}").REPORT
