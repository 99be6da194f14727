"""Runs to test with: a unit that fails in the ways units do, told as events. Public for all tests."""

from __future__ import annotations

from typing import Any

from benchrig.record.aggregate import build_record
from benchrig.record.events import (
    FORMAT,
    AnyEvent,
    AttemptFailed,
    Closed,
    DeviceSeen,
    Noted,
    Opened,
    PlannedNode,
    Reading,
    RunEnded,
    RunStarted,
    Samples,
    Where,
)
from benchrig.record.model import Record
from benchrig.values.judging import Judgement, kind_of
from benchrig.values.limit import Limit

VERSIONS = {"benchrig": "0.1.0", "python": "3.11.2"}


def run_started(*steps: PlannedNode, **changes: Any) -> RunStarted:
    """The start of a run of a fictional end-of-line plan, with one step unless others are given."""
    fields: dict[str, Any] = {
        "format": FORMAT,
        "run_id": "0d6f3c1e5a7b4f20a1b2c3d4e5f60718",
        "started": "2026-03-02T08:15:30.250Z",
        "plan": "Fridge logger, end of line",
        "plan_file": "plans/fridge.yaml",
        "plan_hash": "5f1d7c2e9a",
        "station": "bench 2",
        "radio": "host",
        "simulated": False,
        "nodes": list(steps) or [PlannedNode("1", "read temperature", "read", "fridge.yaml:21")],
        "versions": VERSIONS,
        "revision": "3",
    }
    return RunStarted(**fields | changes)


def opened(step: int = 1) -> Opened:
    return Opened(Where(str(step)), 0.25)


def reading(value: Any, limit: Limit | None = None, *, unit: str = "", step: int = 1, **changes: Any) -> Reading:
    """A reading, judged by the limit when there is one."""
    judgement = limit.bind(kind_of(value, unit), unit).judge(value) if limit else None
    name, at = changes.pop("name", "value"), changes.pop("at", 0.3)
    return Reading(Where(str(step)), at, name, value, unit, judgement=judgement, **changes)


def run_of(*readings: Reading, verdict: str = "pass", message: str = "", **changes: Any) -> Record:
    """The record of a run with one step that gave these readings; `changes` are those of the start."""
    cause = None if verdict == "pass" else "limit"
    own = message if cause is None else ""
    ended = Closed(Where("1"), 0.5, 0.25, verdict, cause, message, own=own)
    root = None if cause is None else Where("1")
    last = RunEnded(0.6, verdict, 0 if verdict == "pass" else 1, len(readings), cause, root)
    return build_record([run_started(**changes), opened(), *readings, ended, last])


STEPS = (
    PlannedNode("1", "scan", "scan", "fridge.yaml:12"),
    PlannedNode("2", "connect", "connect", "fridge.yaml:15"),
    PlannedNode("3", "read temperature", "read", "fridge.yaml:21"),
    PlannedNode("4", "notify temperature", "notify", "fridge.yaml:25"),
    PlannedNode("5", "write alarm limit", "write", "fridge.yaml:31"),
    PlannedNode("6", "read battery level", "read", "fridge.yaml:34"),
    PlannedNode("7", "write alarm limit", "write", "fridge.yaml:38", section="finally"),
)

TOO_WARM = Judgement(
    False, "min 15 °C and max 30 °C", "31.27 °C is above the maximum 30 °C by 1.27 °C", 15, 30, -1.27, "fridge.yaml:23"
)
GAP = Judgement(
    False, "max 1.3 s", "2.004 s is above the maximum 1.3 s by 0.704 s", None, 1.3, -0.704, "fridge.yaml:29"
)
STREAM = Judgement(True, "min -40 °C and max 85 °C", "all 9 samples satisfy: …", -40, 85, 53.7, "fridge.yaml:28")

FAILED_RUN: list[AnyEvent] = [
    run_started(*STEPS),
    Noted(0.001, "adapter: hci0"),
    Opened(Where("1"), 0.002),
    DeviceSeen(0.4, "C0:FF:EE:00:00:01", "random static", "VFL-000123"),
    Reading(
        Where("1"),
        0.5,
        "rssi",
        -58,
        "dBm",
        judgement=Judgement(True, "min -70 dBm", "…", -70, None, 12.0, "fridge.yaml:14"),
    ),
    Closed(Where("1"), 0.5, 0.498, "pass"),
    Opened(Where("2"), 0.5),
    AttemptFailed(Where("2", attempt=1), 1.5, "link", "no answer to the connection request within 1 s"),
    Reading(Where("2", attempt=2), 1.75, "elapsed", 1.234567, "s"),
    Closed(Where("2"), 1.75, 1.25, "pass", attempts=2),
    Opened(Where("3"), 1.75),
    DeviceSeen(1.8, serial="VFL3-000123"),
    Reading(Where("3"), 1.78, "value", 31.27, "°C", "370C", judgement=TOO_WARM),
    Reading(Where("3"), 1.79, "elapsed", 0.031, "s"),
    Closed(Where("3"), 1.79, 0.04, "fail", "limit", TOO_WARM.sentence, own=""),
    Opened(Where("4"), 1.79),
    Reading(Where("4"), 11.8, "value", 31.3, "°C", "3A0C", Samples(9, 31.25, 31.34, 31.3, 0.03), STREAM),
    Reading(Where("4"), 11.8, "gap_max", 2.004, "s", judgement=GAP),
    Reading(Where("4"), 11.8, "count", 9),
    Closed(Where("4"), 11.8, 10.01, "fail", "limit", GAP.sentence, own=""),
    Opened(Where("5"), 11.8),
    Closed(Where("5"), 13.8, 2.0, "fail", "link", "the link was lost (supervision timeout)", "move the unit closer"),
    Closed(Where("6"), 13.8, 0.0, "skip", message="step 5 left no link", root=Where("5")),
    Closed(Where("7"), 13.8, 0.0, "skip", message="step 5 left no link", root=Where("5")),
    RunEnded(13.81, "fail", 1, 4, "limit", Where("3"), TOO_WARM.sentence),
]


def failed_run(until: int | None = None) -> Record:
    """The record of FAILED_RUN, or of its first `until` events."""
    return build_record(FAILED_RUN[:until])
