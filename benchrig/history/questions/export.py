"""Readings for other programs: one row a reading, with all that is known of its run. The columns stay as they are; new ones
come behind them."""

from __future__ import annotations

import csv
import importlib.util
import io
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple, Protocol

from sqlalchemy import ColumnElement, Connection, and_, func, select

from benchrig.errors import UsageError
from benchrig.history.moments import moment_of
from benchrig.history.opening import History
from benchrig.history.questions.channels import Channel, known_channels, missing
from benchrig.history.questions.filters import Filters, check_words, condition
from benchrig.history.questions.rows import raw_rows
from benchrig.history.questions.runs import json_moment
from benchrig.history.tables import bounds, readings, runs
from benchrig.record.purposes import OF_THE_STATION
from benchrig.text.escape import csv_cell

# Each column with its kind: text, number, whole number, truth, moment.
COLUMNS = {
    "run_id": "text", "started": "moment", "plan": "text", "revision": "text", "plan_hash": "text", "limit_set": "text",
    "step": "text", "occurrence": "whole", "reading": "text", "measure": "text", "value": "number", "text": "text",
    "low": "number", "high": "number", "stated_low": "number", "stated_high": "number", "passed": "truth",
    "margin": "number", "samples": "whole", "minimum": "number", "maximum": "number", "mean": "number", "unit": "text",
    "serial": "text", "given_serial": "text", "address": "text", "firmware": "text", "station": "text",
    "fixture": "text", "radio": "text", "simulated": "truth", "partial": "truth", "study": "text",
    "run_verdict": "text", "run_cause": "text", "folder": "text", "purpose": "text", "product": "text", "slot": "text",
    "person": "text", "shift": "text", "proof": "text", "reference": "text", "first_run": "text", "again": "whole",
}  # fmt: skip
_ORDER = (runs.c.started, runs.c.run_id, readings.c.n)
_READING = ("value", "text", "passed", "margin", "samples", "minimum", "maximum", "mean")
_BOUND = ("low", "high", "stated_low", "stated_high")
_RUN = (
    "plan", "revision", "plan_hash", "limit_set", "unit", "serial", "given_serial", "address", "firmware", "station",
    "fixture", "radio", "simulated", "study", "folder", "purpose", "product", "slot", "person", "shift", "proof",
    "reference", "first_run", "again",
)  # fmt: skip

Row = dict[str, Any]


class Exported(NamedTuple):
    readings: int
    studies: int  # runs of gauge studies, which were left out
    of_the_station: int  # runs that check the station, or only clean up, which no filter asked for


class Writer(Protocol):
    """Takes rows, some at a time, and ends the file when it is closed."""

    def write(self, rows: Sequence[Row]) -> None: ...

    def close(self) -> None: ...


def export(
    history: History, labels: Sequence[str], filters: Filters, file: BinaryIO, kind: str, *, studies: bool = False
) -> Exported:
    """Write the readings with these names, without any all of them, of all runs that fit, partial ones too; those of gauge
    studies with `studies` alone, those that check the station where the filters name their purpose. By reading, then in the order of the runs. UsageError for a reading that is not there."""
    written, ours = 0, runs.c.purpose.not_in(_unasked(filters))
    which = and_(condition(filters), ours) if studies else and_(condition(filters), ours, runs.c.study == "")
    with history.reading() as connection, closing(writer(kind, file)) as out:
        check_words(connection, filters)
        for channel in _wanted(connection, labels, filters):
            rows = [*_rows(history, connection, channel, which)]
            out.write(rows)
            written += len(rows)
        of_studies = 0 if studies else _counted(connection, filters, runs.c.study != "")
        return Exported(written, of_studies, _counted(connection, filters, ~ours))


def _unasked(filters: Filters) -> list[str]:
    """The purposes of runs that check the station, but for those that the filters name."""
    return [each for each in OF_THE_STATION if each not in filters.purpose]


def _counted(connection: Connection, filters: Filters, which: ColumnElement[bool]) -> int:
    """How many runs that fit are such."""
    return connection.scalar(select(func.count()).where(condition(filters), which)) or 0


def _wanted(connection: Connection, labels: Sequence[str], filters: Filters) -> list[Channel]:
    known = known_channels(connection, filters)
    for label in labels:
        if all(each.label != label for each in known):
            raise missing(label, known)
    return [each for each in known if not labels or each.label in labels]


def _rows(history: History, connection: Connection, channel: Channel, which: ColumnElement[bool]) -> Iterator[Row]:
    columns = [*_ORDER, runs.c.left_out, runs.c.verdict, runs.c.cause]
    columns += [
        table.c[name] for table, names in ((readings, _READING), (bounds, _BOUND), (runs, _RUN)) for name in names
    ]
    question = select(*columns).join(runs, runs.c.run == readings.c.run)
    question = question.join(bounds, bounds.c.bound == readings.c.bound)
    found = raw_rows(connection, question.where(readings.c.channel == channel.number, which))
    what = {
        "step": channel.step,
        "occurrence": channel.occurrence,
        "reading": channel.reading,
        "measure": channel.measure,
    }
    for started, run_id, _, left_out, verdict, cause, *cells in sorted(found, key=lambda row: row[:3]):
        row = dict(zip((*_READING, *_BOUND, *_RUN), cells, strict=True)) | what
        row |= {"run_id": run_id, "started": moment_of(started), "run_verdict": verdict, "run_cause": cause}
        row |= {"partial": left_out > 0, "passed": bool(row["passed"]), "simulated": bool(row["simulated"])}
        yield row | {"folder": str(history.folder(row["folder"]))}


# --- the kinds of files


def kind_of(path: Path) -> str:
    """By the end of its name. UsageError."""
    kinds = {".csv": "csv", ".arrow": "arrow", ".feather": "arrow"}
    if path.suffix.lower() not in kinds:
        raise UsageError(
            f"expected a file that ends in {', '.join(kinds)}, found '{path.name}'",
            advice="write CSV for spreadsheets, Arrow for data frames",
        )
    return kinds[path.suffix.lower()]


def writer(kind: str, file: BinaryIO) -> Writer:
    return _Csv(file) if kind == "csv" else _arrow(file)


class _Csv:
    def __init__(self, file: BinaryIO) -> None:
        self._text = io.TextIOWrapper(file, "utf-8", newline="")
        self._rows = csv.writer(self._text)
        self._rows.writerow(COLUMNS)

    def write(self, rows: Sequence[Row]) -> None:
        for row in rows:
            cells = {**row, "started": json_moment(row["started"])}
            self._rows.writerow([csv_cell(cells[name]) for name in COLUMNS])

    def close(self) -> None:
        self._text.flush()
        self._text.detach()


def _arrow(file: BinaryIO) -> Writer:
    if importlib.util.find_spec("pyarrow") is None:
        raise UsageError(
            "an Arrow file needs the package pyarrow, which is not installed",
            advice="install benchrig[arrow], or export to a file that ends in .csv",
        )
    return _Arrow(file)


class _Arrow:
    """The file format of Arrow IPC, which is Feather version 2."""

    def __init__(self, file: BinaryIO) -> None:
        import pyarrow as pa  # type: ignore[import-untyped]

        kinds = {
            "text": pa.string(), "number": pa.float64(), "whole": pa.int64(), "truth": pa.bool_(),
            "moment": pa.timestamp("us", "UTC"),
        }  # fmt: skip
        self._schema = pa.schema([(name, kinds[kind]) for name, kind in COLUMNS.items()])
        self._out = pa.ipc.new_file(file, self._schema)

    def write(self, rows: Sequence[Row]) -> None:
        import pyarrow as pa

        self._out.write_table(pa.Table.from_pylist([*rows], self._schema))

    def close(self) -> None:
        self._out.close()
