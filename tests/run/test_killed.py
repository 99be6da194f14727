"""A run that is killed in a long stream keeps what had come, and is marked."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from pathlib import Path

import pytest

from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent
from benchrig.record.journal import read_record
from benchrig.record.model import Record
from benchrig.report import explain
from benchrig.report.files.junit import junit_xml
from benchrig.run.stream import TELL_EVERY, RunStream
from tests.run.killing import DEVICE, LIMIT, STEPS
from tests.run.kit import plan_text, run

PERIOD = 0.1


def keeps(record: Record, samples: int, outside: int, at: float) -> None:
    """See that the record has what a stream was given until then: the first sample outside at once, the rest but for the
    last second; and that nobody takes it for a verdict."""
    stream = record.steps[2]
    assert record.cut_off
    assert (explain.outcome(record), explain.state(stream)) == ("cut off", "cut off")
    assert b'<error type="cut off"' in junit_xml(record)
    value = next((each for each in stream.readings if each.name == "value"), None)
    assert value is not None or at - stream.opened.at < 2 * TELL_EVERY
    if value is None:
        return
    kept = value.samples
    assert value.partial
    assert at - value.at <= TELL_EVERY + PERIOD
    assert samples - TELL_EVERY / PERIOD - 1 <= kept.count <= samples + 1
    assert outside - TELL_EVERY / PERIOD - 1 <= kept.outside <= outside + 1
    if outside:
        assert kept.outside
        assert kept.first_outside is not None
        assert [each.name for each in explain.failed_readings(stream)] == ["value"]


def test_cut_anywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same on the virtual clock: the events up to a moment are those that a killed run has on disk."""
    log: list[AnyEvent | tuple[int, int, float]] = []
    samples = outside = 0
    add = RunStream.add

    def told(stream: RunStream, value: float, raw: bytes | None = None) -> None:
        nonlocal samples, outside
        add(stream, value, raw)
        samples, outside = samples + 1, outside + (value > 5)
        log.append((samples, outside, stream._clock.at))

    monkeypatch.setattr(RunStream, "add", told)
    steps = STEPS.replace("for: 150 s", "for: 25 s").replace(f"{LIMIT:g} °C", "5 °C")
    run(plan_text(steps), DEVICE, during=lambda _, event: log.append(event))
    given = [place for place, each in enumerate(log) if isinstance(each, tuple)]
    assert log[given[-1]][1] > 100
    for cut in sorted(random.Random(1).sample(given, 12)):
        events = [each for each in log[: cut + 1] if not isinstance(each, tuple)]
        keeps(build_record(events), *log[cut])


@pytest.mark.slow
@pytest.mark.timeout(1200)
@pytest.mark.skipif(not hasattr(__import__("os"), "fork"), reason="processes are forked")
def test_killed_at_many_moments(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tests.run.killing", tmp_path, "40", "7"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=Path(__file__).parents[2])
    runs = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(runs) == 40, done.stderr
    assert all(each["killed"] for each in runs)
    assert sum(each["outside"] > 0 for each in runs) > 20
    for each in runs:
        record = read_record(Path(each["folder"]) / "record.jsonl")
        keeps(record, each["samples"], each["outside"], each["at"])
