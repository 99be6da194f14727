"""Records of format 1 are read. Those in `format1/` were written by the version that had it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchrig.errors import UsageError
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent, Where
from benchrig.record.format1 import Upgrade
from benchrig.record.journal import read_record
from benchrig.record.model import Record
from benchrig.report import explain
from tests.record.old_format import in_format_1
from tests.run.kit import DEVICES, PLANS, Ran, plan_text, run
from tests.run.test_trouble import thermometer

SAMPLES = sorted((Path(__file__).parent / "format1").glob("*.jsonl"))
BROKEN_STREAM = "  - notify: temperature\n    for: 5 s\n    expect: {count: {min: 999}, value: {max: 0 °C}}\n"
# those without steps in steps, which it did not have
SHIPPED = [("smoke", "logger"), ("twelve_checks", "sensor"), ("returned_unit", "logger"), ("returned_unit", "returned_logger"),
           ("smoke", "sensor")]  # fmt: skip


def sample(name: str) -> Record:
    return read_record(Path(__file__).parent / "format1" / f"{name}.jsonl")


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_line_says_the_same_in_both_formats(path: Path) -> None:
    upgrade, kind = Upgrade(), AnyEvent
    for line in path.read_text("utf-8").splitlines():
        event: Any = msgspec.convert(upgrade.line(json.loads(line)), kind)  # type: ignore[arg-type]
        assert in_format_1(event) == json.loads(line)


@pytest.mark.parametrize(
    ("name", "verdict", "steps", "readings", "judged"),
    [
        ("end_of_line_logger", "pass", 17, 32, 28),
        ("nightly_regression_logger", "pass", 21, 36, 31),
        ("smoke_logger", "pass", 5, 5, 5),
        ("twelve_checks_sensor", "pass", 10, 16, 14),
        ("returned_unit_logger", "pass", 9, 13, 12),
        ("returned_unit_returned_logger", "fail", 9, 11, 10),
        ("absent", "fail", 17, 0, 0),
    ],
)
def test_what_is_in_them(name: str, verdict: str, steps: int, readings: int, judged: int) -> None:
    record = sample(name)
    assert record.ended is not None
    assert (record.ended.verdict, len(record.steps)) == (verdict, steps)
    found = [reading for step in record.steps for reading in step.readings]
    assert (len(found), sum(each.judgement is not None for each in found)) == (readings, judged)


def test_attempts_and_what_a_step_says_itself() -> None:
    connect, read = sample("retries").steps[1:]
    assert [attempt.where for attempt in read.retries] == [Where("3"), Where("3", attempt=2)]
    assert explain.attempts(connect).startswith("passed on attempt 2 (attempt 1, link: ")
    assert {reading.where for reading in connect.readings} == {Where("2", attempt=2)}
    stream, warm = sample("stream").steps[2:]
    assert [explain.own_message(step) for step in (stream, warm)] == ["", ""]
    assert stream.ended is not None
    assert "samples outside" in stream.ended.message
    lost = sample("lost_in_stream").steps[3]
    assert explain.own_message(lost).startswith("read temperature: the link was lost")


def test_titles_tell_the_attribute() -> None:
    subjects = {step.planned.name: step.planned.subject for step in sample("stream").steps}
    assert subjects == {"scan": "", "connect": "", "notify temperature": "temperature", "warm": ""}


# --- a run of today, written as it would have been


def told(record: Record) -> Any:
    """All that both formats can say."""
    return _without(msgspec.to_builtins(record), {"subject", "devices", "sent", "tells", "own", "format"})


def _without(data: Any, keys: set[str]) -> Any:
    if isinstance(data, dict):
        return {key: _without(item, keys) for key, item in data.items() if key not in keys}
    return [_without(item, keys) for item in data] if isinstance(data, list) else data


def runs() -> list[Any]:
    shipped = [
        pytest.param(lambda p=p, d=d: run(PLANS / f"{p}.yaml", DEVICES / f"{d}.yaml"), id=f"{p} {d}")
        for p, d in SHIPPED
    ]
    refusing = "faults: {refuse_connections: 1}"
    tried = "steps:\n  - scan:\n  - connect:\n    attempts: 3\n"
    others = [
        pytest.param(lambda: run(plan_text(BROKEN_STREAM), thermometer("notify: {period: 200 ms}")), id="stream"),
        pytest.param(lambda: run(plan_text("", reach=tried), thermometer(more=refusing)), id="attempts"),
    ]
    return shipped + others


@pytest.mark.parametrize("of", runs())
def test_a_run_reads_the_same_from_format_1(of: Any, tmp_path: Path) -> None:
    ran: Ran = of()
    path = tmp_path / "record.jsonl"
    path.write_text("".join(json.dumps(in_format_1(event)) + "\n" for event in ran.events), "utf-8")
    old = read_record(path)
    assert told(old) == told(build_record(ran.events))
    own = [explain.own_message(step) for step in ran.record.steps]
    assert [explain.own_message(step) for step in old.steps] == own


@pytest.mark.parametrize("path", [each for each in SAMPLES if each.stat().st_size < 8000], ids=lambda path: path.stem)
def test_a_cut_reads_too(path: Path, tmp_path: Path) -> None:
    data = path.read_bytes()
    for end in range(data.index(b"\n") + 1, len(data) - 1, 97):
        (tmp_path / "cut").write_bytes(data[:end])
        assert read_record(tmp_path / "cut").cut_off


@pytest.mark.parametrize("bad", [b'{"event":"step"}\n', b'{"event":"step","step":99,"at":1}\n', b"{\n", b"[1]\n"])
def test_a_bad_line_is_named(tmp_path: Path, bad: bytes) -> None:
    lines = SAMPLES[0].read_bytes().splitlines(keepends=True)
    (tmp_path / "bad").write_bytes(b"".join([*lines[:2], bad, *lines[2:]]))
    with pytest.raises(UsageError, match="bad:3: "):
        read_record(tmp_path / "bad")
