"""The record as CSV (RFC 4180): one row a reading, for spreadsheets and statistics.

Numbers have all their digits and a decimal point. Text that a spreadsheet would take for a formula has an
apostrophe before it; lists and mappings are JSON; raw bytes are hex in pairs.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

import msgspec

from benchrig.record.model import Samples
from benchrig.report.escape import CELL_LIMIT, csv_cell, hex_text
from benchrig.values.judging import Judgement

if TYPE_CHECKING:
    from benchrig.record.model import Reading, Record, StepRecord

COLUMNS = (
    "run_id", "started", "plan", "revision", "station", "simulated", "serial", "address", "step", "step_name", "reading",
    "value", "unit", "low", "high", "verdict", "margin", "limit", "raw", "count", "minimum", "maximum", "mean", "sd",
    "outside", "cause", "message",
)  # fmt: skip
_NO_SAMPLES: dict[str, Any] = {}


def csv_text(record: Record) -> str:
    """All readings, and steps that failed or were skipped without one, after a row with the names of the columns.
    `cause` and `message` are those of the step."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    head = _run_cells(record)
    for step in record.steps:
        for cells in [_reading_cells(reading) for reading in step.readings] or _step_alone(step):
            row = head | _step_cells(step) | cells
            writer.writerow([csv_cell(row.get(name)) for name in COLUMNS])
    return out.getvalue()


def _run_cells(record: Record) -> dict[str, Any]:
    names = ("run_id", "started", "plan", "revision", "station", "simulated")
    cells = {name: getattr(record.run, name) for name in names}
    return cells | ({"serial": record.unit.serial, "address": record.unit.address} if record.unit else {})


def _step_cells(step: StepRecord) -> dict[str, Any]:
    told = {"cause": step.ended.cause, "message": step.ended.message} if step.ended else {}
    return {"step": step.planned.number, "step_name": step.planned.name, **told}


def _step_alone(step: StepRecord) -> list[dict[str, Any]]:
    """A step that has no reading has a row all the same when it did not pass: an absent unit must not look like an
    empty run."""
    if step.ended is None or step.ended.verdict == "pass":
        return []
    return [{"verdict": step.ended.verdict}]


def _reading_cells(reading: Reading) -> dict[str, Any]:
    judgement: Judgement | None = reading.judgement
    samples: Samples | None = reading.samples
    cells: dict[str, Any] = {"reading": reading.name, "value": reading.value, "unit": reading.unit}
    if reading.raw is not None:
        cells["raw"] = hex_text(reading.raw, CELL_LIMIT)
    if judgement is not None:
        cells |= {name: getattr(judgement, name) for name in ("low", "high", "margin", "limit")}
        cells["verdict"] = "pass" if judgement.passed else "fail"
    return cells | (msgspec.structs.asdict(samples) if samples is not None else _NO_SAMPLES)
