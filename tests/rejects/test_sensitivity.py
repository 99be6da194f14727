"""What a limit is worth: the faults that it catches, those that it alone catches, what its step costs."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from benchrig.errors import UsageError
from benchrig.escapes.results import About, Came, Catch, Hunted, Result, to_json
from benchrig.record.events import PlannedNode
from benchrig.rejects.results import Rejects
from benchrig.rejects.seen import Seen
from benchrig.rejects.sensitivity import check_fits, idle, limits_of
from tests.rejects.kit import rejects, written

READ, LISTEN = (
    Catch("3", "read temperature", "value", "limit", "high"),
    Catch("4", "read humidity", "value", "limit", "wet"),
)
LATE = Catch("3", "read temperature", "elapsed", "limit", "late")
GONE = Catch("4", "read humidity", "", "device", "the device has no attribute")
NODES = [
    PlannedNode("1", "scan", "scan", "p:1"),
    PlannedNode("3", "read temperature", "read", "p:3", limits=["value", "elapsed"]),
    PlannedNode("4", "read humidity", "read", "p:4", limits=["value"]),
    PlannedNode("5", "restore", "write", "p:5", section="finally"),
]


def result(name: str, *catches: Catch) -> Result:
    about = About(name, "value", "serious", f"{name}.", ["device", "limit"])
    by, also = (catches[0], [*catches[1:]]) if catches else (None, [])
    return Result(about, "caught" if by else "escaped", [Came(0, "fail" if by else "pass", 1.0, 4, by, also)])


def hunt(made: Rejects, *results: Result) -> Hunted:
    return Hunted(
        1, made.plan, made.plan_file, made.plan_hash, "", made.device, made.device_files, made.device_hash, "", [0], {},
        NODES, len(results), [*results], whole=True,
    )  # fmt: skip


RESULTS = (
    result("hot", READ),
    result("hot and late", READ, LATE),
    result("wet", LISTEN, msgspec.structs.replace(LISTEN, times=2)),
    result("missing", GONE),
    result("quiet"),
)


def test_each_fault_counts_for_all_that_notice_it_and_alone_where_nothing_else_does(tmp_path: Path) -> None:
    written(tmp_path)
    made = rejects(tmp_path, count=1)
    hunted = hunt(made, *RESULTS)
    value, elapsed, humidity = limits_of(NODES, {}, {"3": 2.0}, hunted)
    assert (value.caught, value.alone, value.seconds) == (2, 1, 2.0)
    assert (elapsed.caught, elapsed.alone) == (1, 0)
    assert (humidity.caught, humidity.alone, humidity.judged) == (1, 1, 0)
    assert [(each.node, each.seconds) for each in idle(NODES, {"1": 3.0, "3": 2.0, "5": 9.0}, hunted)] == [("1", 3.0)]
    seen = [(1, Seen("4", "value", True, "%", below=4.0, above=2.0)), (2, Seen("4", "value", False, "%", -1.0, 7.0))]
    *_, measured = limits_of(NODES, {("4", "value"): seen}, {}, None)
    assert (measured.distance, measured.nearest, measured.nearest_unit, measured.rejected) == (0.5, -1.0, 2, 1)
    assert (measured.caught, measured.alone) == (None, None)


def test_the_results_are_of_the_same_plan_and_device(tmp_path: Path) -> None:
    written(tmp_path)
    made = rejects(tmp_path, count=1)
    hunted = hunt(made, *RESULTS)
    path = tmp_path / "escapes.json"
    path.write_bytes(to_json(hunted))
    joined = rejects(tmp_path, count=1, escapes=path)
    assert joined.faults == 5
    assert [(each.reading, each.caught) for each in joined.limits] == [("value", 2), ("value", 1)]
    for change, said in (
        ({"plan_hash": "x"}, "of another plan"),
        ({"device_hash": "x"}, "of another device"),
        ({"whole": False}, "end at the first catch"),
        ({"interrupted": True}, "was interrupted"),
    ):
        with pytest.raises(UsageError, match=said):
            check_fits(msgspec.structs.replace(hunted, **change), made)
    path.write_text("{}", encoding="utf-8")
    with pytest.raises(UsageError, match="expected what benchrig escapes --json wrote"):
        rejects(tmp_path, count=1, escapes=path)
