"""The record as CSV (RFC 4180): one row a reading, for spreadsheets and statistics.

Numbers have all their digits and a decimal point. Text that a spreadsheet would take for a formula has an
apostrophe before it; lists and mappings are JSON; raw bytes are hex in pairs.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from benchrig.report import at_line, explain, whole
from benchrig.report.outline import Entry, Once, ReadingOverRounds, outline, verdict_over
from benchrig.report.registry import Report
from benchrig.text.escape import CELL_LIMIT, csv_cell, hex_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchrig.record.events import Reading, Samples
    from benchrig.record.model import Execution, Record
    from benchrig.values.judging import Judgement

COLUMNS = (
    "run_id", "started", "plan", "revision", "station", "simulated", "serial", "address", "step", "step_name", "reading",
    "value", "units", "low", "high", "verdict", "margin", "limit", "raw", "count", "minimum", "maximum", "mean", "sd",
    "outside", "cause", "message", "given", "radio", "plan_hash", "left_out", "run_verdict", "run_cause", "exit_code",
    "given_serial", "rounds", "tolerated", "device", "confidence", "at_least", "at_most",
    "limit_set", "stated_low", "stated_high", "guard", *at_line.COLUMNS,
)  # fmt: skip
_OF_JUDGEMENT = ("low", "high", "margin", "limit", "confidence", "at_least", "at_most")
_OF_SAMPLES = ("count", "minimum", "maximum", "mean", "sd", "outside")


def csv_text(record: Record) -> str:
    """All readings after a row with the names of the columns. A step that its readings do not explain has a row of its
    own, and so has a run that no step explains: an absent unit must not look like an empty run. `cause` and `message`
    stand where something did not pass; the last columns are about the whole run."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    head = _run_cells(record)
    for cells in (*_run_alone(record), *(cells for entry in outline(record) for cells in _rows(entry))):
        row = head | _device_cells(record, cells) | cells
        writer.writerow([csv_cell(row.get(name)) for name in COLUMNS])
    return out.getvalue()


def joined_rows(documents: Sequence[bytes]) -> bytes:
    """The rows of several runs under one row with the names of the columns."""
    names = (",".join(COLUMNS) + "\r\n").encode()
    return names + b"".join(document.removeprefix(names) for document in documents)


def _run_cells(record: Record) -> dict[str, Any]:
    run, unit, ended = record.run, record.unit, record.ended
    names = ("run_id", "started", "plan", "revision", "station", "simulated", "radio", "plan_hash", "left_out")
    cells: dict[str, Any] = {name: getattr(run, name) for name in names}
    cells |= at_line.cells(record) if run.line else {}
    cells["limit_set"] = explain.limit_set_name(record)
    cells["given"] = "; ".join(f"{name}={value}" for name, value in run.given.items())
    cells["given_serial"] = explain.given_serial(record)
    cells |= {"serial": unit.serial, "address": unit.address} if unit else {}
    cells["run_verdict"] = explain.outcome(record)
    return cells | ({"run_cause": ended.cause, "exit_code": ended.exit_code} if ended else {})


def _device_cells(record: Record, cells: dict[str, Any]) -> dict[str, Any]:
    """In a plan with several devices: whom the row is about."""
    if not explain.several(record):
        return {}
    unit = record.devices.get(cells.get("device", ""))
    return {"serial": unit.serial if unit else "", "address": unit.address if unit else ""}


def _run_alone(record: Record) -> Iterator[dict[str, Any]]:
    if (trouble := whole.run_trouble(record)) is not None:
        yield {"verdict": trouble.verdict, "cause": trouble.cause, "message": trouble.message}


def _rows(entry: Entry) -> Iterator[dict[str, Any]]:
    """Of a step of a repetition all rounds together, then those that are on record."""
    if isinstance(entry, Once):
        yield from _step_rows(entry.step, entry.tolerated)
        return
    head = {"step": entry.node.id, "step_name": entry.node.name, "rounds": entry.times, "device": entry.node.device}
    yield head | _verdict(entry.state, entry.tolerated, "" if entry.state == "pass" else whole.summary(entry))
    for reading in entry.readings.values():
        yield head | _over_cells(reading, entry.tolerated)
    for step in entry.executions:
        yield from _step_rows(step, entry.tolerated)


def _verdict(verdict: str, tolerated: str, message: str = "") -> dict[str, Any]:
    """`tolerated` says which step has a limit that allows what failed."""
    return {"verdict": verdict, "message": message, "tolerated": tolerated if verdict == "fail" else ""}


def _over_cells(reading: ReadingOverRounds, tolerated: str) -> dict[str, Any]:
    samples, judgement = reading.samples, reading.judgement
    cells: dict[str, Any] = {"reading": reading.name, "units": reading.unit, "count": reading.count}
    cells |= _verdict(verdict_over(reading), tolerated)
    if judgement is not None:
        cells |= {name: getattr(judgement, name) for name in ("low", "high", "limit")} | explain.guarded(judgement)
        cells["outside"] = reading.failed
    return cells | ({name: getattr(samples, name) for name in ("minimum", "maximum", "mean", "sd")} if samples else {})


def _step_rows(step: Execution, tolerated: str) -> Iterator[dict[str, Any]]:
    head = {"step": step.where.label, "step_name": step.planned.name, "device": step.planned.device}
    why = {"cause": step.ended.cause, "message": step.ended.message} if step.ended else {}
    readings = _all_readings(step)
    state = explain.state(step)
    if state not in {"pass", *(cells.get("verdict") for cells in readings)}:
        yield head | _verdict(state, tolerated) | why
    for cells in readings:
        failed = cells.get("verdict") == "fail"
        yield head | (why | {"tolerated": tolerated} if failed else {}) | cells


def _all_readings(step: Execution) -> list[dict[str, Any]]:
    """Those that came, and the limits that the radio gave no reading for."""
    left = {limit.name: {"verdict": "not judged", "message": limit.reason} for limit in explain.unmeasured(step)}
    left |= {
        limit.name: {"verdict": "left out", "message": limit.reason}
        for limit in step.not_judged
        if whole.is_left_out(step, limit)
    }
    cells = [_reading_cells(reading) | left.pop(reading.name, {}) for reading in step.readings]
    return cells + [{"reading": name, **rest} for name, rest in left.items()]


def _reading_cells(reading: Reading) -> dict[str, Any]:
    judgement: Judgement | None = reading.judgement
    samples: Samples | None = reading.samples
    cells: dict[str, Any] = {"reading": reading.name, "value": reading.value, "units": reading.unit}
    if reading.raw is not None:
        cells["raw"] = hex_text(reading.raw, CELL_LIMIT)
    if judgement is not None:
        cells |= {name: getattr(judgement, name) for name in _OF_JUDGEMENT} | explain.guarded(judgement)
        cells["verdict"] = "pass" if judgement.passed else "fail"
    return cells | ({name: getattr(samples, name) for name in _OF_SAMPLES} if samples is not None else {})


REPORT = Report(
    name="readings",
    suffix=".csv",
    option="--csv",
    help="Also write the readings as CSV to this file.",
    render=lambda record: csv_text(record).encode(),
    begins=b"run_id,started,",
    join=joined_rows,
)
