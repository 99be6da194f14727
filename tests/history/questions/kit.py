"""Runs made up in one line each, in a history: what questions are asked of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from benchrig.history.adding import add_entries
from benchrig.history.entry import DEVICE, READING, STEP, Entry
from benchrig.history.moments import micros
from benchrig.history.opening import History, open_history

BEGIN = datetime(2026, 11, 2, 6, 0, tzinfo=UTC)  # a Monday morning
LIMITS = (0.0, 10.0)


def entry(
    number: int, *, unit: str = "A", minutes: float | None = None, verdict: str = "pass", cause: str = "",
    readings: Mapping[str, Any] | None = None, measure: str = "V", limits: tuple[float | None, float | None] = LIMITS,
    given: str = "", address: str = "", step: str = "", reading: str = "", others: Sequence[Mapping[str, Any]] = (),
    **head: Any,
) -> Entry:  # fmt: skip
    """A run, so many minutes after the first. `readings` by 'STEP.READING'; of a failure `step` and `reading` are its root."""
    at = BEGIN + timedelta(minutes=number if minutes is None else minutes)
    identity = {"serial": unit, "given_serial": given, "address": address, "name": ""}
    identity |= {"firmware": head.pop("firmware", "1.0"), "hardware": ""}
    run = {
        "run_id": f"run-{number:06}", "digest": f"{number:064}", "size": 1, "folder": f"run-{number:06}", "host": "h",
        "kept_on": "h",
        "started": micros(at), "duration": 2.5, "plan": "end of line", "revision": "1", "plan_hash": "ab" * 32,
        "limit_set": "", "limit_set_version": "", "limit_set_hash": "", "benchrig": "1", "station": "line 1",
        "fixture": "", "fixture_version": "", "radio": "host", "simulated": False, "left_out": 0, "study": "",
        "study_unit": "", "study_appraiser": "", "study_repeat": None, "unit": unit or given or address,
        "verdict": verdict, "cause": cause or ("limit" if verdict == "fail" else ""),
        "exit_code": {"pass": 0, "fail": 1}.get(verdict), "root_step": step, "root_reading": reading,
        "message": f"run {number} did not pass" * (verdict != "pass"), "planned": 1, "judged": 1, "retries": 0,
        "rounds_left": 0, "purpose": "", "product": "", "slot": "", "person": "", "shift": "", "proof": "", "reference": "",
        "first_run": "", "again": 0,
    } | identity | head  # fmt: skip
    seen = [{"device": "", **identity, "address_type": "public"}]
    seen += [
        {"device": "", "address_type": "public", "name": "", "firmware": "", "hardware": "", "serial": "",
         "given_serial": "", "address": "", **other}
        for other in others
    ]  # fmt: skip
    told = [_reading(run["plan"], each, value, measure, limits) for each, value in (readings or {}).items()]
    return Entry(run, [_in_order(DEVICE, row) for row in seen], [_in_order(STEP, _step(run))], told)


def _in_order(names: Sequence[str], row: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(row[name] for name in names)


def _reading(plan: str, label: str, value: Any, measure: str, limits: tuple[float | None, float | None]) -> Any:
    step, _, reading = label.rpartition(".")
    low, high = limits
    number = float(value) if isinstance(value, (int, float)) else None
    held = number is None or ((low is None or low <= number) and (high is None or number <= high))
    row = {
        "value": number, "text": None if number is not None else str(value), "passed": held, "margin": None,
        "samples": None, "minimum": None, "maximum": None, "mean": None,
    }  # fmt: skip
    return (plan, step, 1, reading, measure), (f"{low} to {high}", low, high, low, high, ""), _in_order(READING, row)


def _step(run: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "node": "1", "rounds": "", "step": run["root_step"] or "read voltage", "kind": "read", "device": "",
        "verdict": run["verdict"], "cause": run["cause"], "message": run["message"], "attempts": 1, "elapsed": 1.0,
    }  # fmt: skip


def history_of(folder: Path, entries: Sequence[Entry]) -> History:
    history = open_history(folder / "history.sqlite", make=True)
    add_entries(history, entries)
    return history


def file_of(folder: Path, entries: Sequence[Entry]) -> Path:
    """The file of such a history, for a command."""
    history_of(folder, entries).close()
    return folder / "history.sqlite"
