"""The index of a results folder: one line a run, however it ended.

While a run lasts, it holds a lock on a marker beside its folder; the lock goes with its process. Whoever begins a run
finds the markers that nobody holds, and writes the lines of those runs: they were cut off.
"""

from __future__ import annotations

import contextlib
import csv
import io
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO, Self

from benchrig.errors import UsageError
from benchrig.files import held
from benchrig.record.journal import read_record
from benchrig.record.model import Record
from benchrig.report import at_line, explain, whole
from benchrig.report.markers import Marker
from benchrig.text.escape import csv_cell

INDEX = "index.csv"
COLUMNS = (
    "run_id", "started", "given_serial", "serial", "plan", "revision", "station", "verdict", "cause", "message", "folder",
    "marks", "exit_code", *at_line.COLUMNS,
)  # fmt: skip
_RUNNING = Marker(".running")


def index_row(record: Record, folder: str) -> dict[str, Any]:
    """What the index says of a run."""
    run, unit, ended = record.run, record.unit, record.ended
    cells = {name: getattr(run, name) for name in ("run_id", "started", "plan", "revision", "station")}
    cells |= {"given_serial": explain.given_serial(record), "serial": unit.serial if unit else "", "folder": folder}
    cells |= {"cause": ended.cause, "exit_code": ended.exit_code} if ended else {}
    cells |= at_line.cells(record) if run.line else {}
    marks = ", ".join(whole.marks(record))
    return {**cells, "verdict": explain.outcome(record), "message": whole.reason(record), "marks": marks}


class IndexLine:
    """The line of one run, from its begin on. What keeps it from being written is `trouble`, and no more: the run ends as
    it would without an index."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._index = folder, folder.parent / INDEX
        self._marker: BinaryIO | None = None
        self._attempt(self._begin)

    def write(self, record: Record) -> None:
        """The run is over."""
        self._attempt(lambda index: self._end(index, record))

    def close(self) -> None:
        if self._marker is not None:
            self._marker.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _attempt(self, work: Callable[[BinaryIO], None]) -> None:
        self.trouble = ""
        try:
            with self._index.open("a+b", buffering=0) as index:
                held(index)
                work(index)
        except OSError as exc:
            self.trouble = f"{self._index} cannot be written: {exc.strerror or exc}"

    def _begin(self, index: BinaryIO) -> None:
        for folder in _RUNNING.marked(self._folder.parent):
            _finish(index, folder)
        # under the lock of the index, so that nobody meets the marker before it is held
        self._marker = _RUNNING.of(self._folder).open("xb")
        held(self._marker)

    def _end(self, index: BinaryIO, record: Record) -> None:
        """Without room the marker stays: the next run writes the line."""
        _append(index, index_row(record, self._folder.name))
        self.close()
        _RUNNING.of(self._folder).unlink(missing_ok=True)


def is_running(folder: Path) -> bool:
    """Whether the process of this run is at work."""
    try:
        with _RUNNING.of(folder).open("rb") as marker:
            return not held(marker, wait=False)
    except OSError:
        return False


def _finish(index: BinaryIO, folder: Path) -> None:
    """Write the line of a run whose process is gone, unless it has one."""
    marker = _RUNNING.of(folder)
    with marker.open("rb") as file:
        if not held(file, wait=False):
            return
        if not _has(index, folder.name):
            _append(index, _row_of_dead(folder))
    marker.unlink(missing_ok=True)


def _row_of_dead(folder: Path) -> dict[str, Any]:
    """Its record may be gone, or have no line yet."""
    try:
        return index_row(read_record(folder / "record.jsonl"), folder.name)
    except UsageError as error:
        return {"verdict": "cut off", "message": error.message, "folder": folder.name}


def _has(index: BinaryIO, folder: str) -> bool:
    index.seek(0)
    return any(f",{folder},".encode() in line for line in index)


def _append(index: BinaryIO, row: dict[str, Any]) -> None:
    """In one write, behind the last line whole: one that a full disk cut short is ended."""
    end = index.seek(0, os.SEEK_END)
    lines = [COLUMNS] if not end else []
    data = _csv([*lines, [csv_cell(row.get(name)) for name in _columns(index)]])
    if end and not _ends_whole(index, end):
        data = b"\r\n" + data
    if index.write(data) != len(data):
        with contextlib.suppress(OSError):
            index.truncate(end)
        raise OSError("there is no room for the line of this run")


def _columns(index: BinaryIO) -> tuple[str, ...]:
    """Those of its first line: an index that an earlier version began has fewer, and keeps them."""
    index.seek(0)
    count = index.readline().count(b",") + 1
    began = COLUMNS[:count] if count > 1 else COLUMNS
    index.seek(0)
    return began if index.readline() == _csv([began]) else COLUMNS


def _ends_whole(index: BinaryIO, end: int) -> bool:
    index.seek(end - 1)
    return index.read(1) == b"\n"


def _csv(rows: Any) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue().encode()
