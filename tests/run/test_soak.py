"""A long soak: flat memory, a bounded record, and the same statistics as if every round had been kept."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from benchrig.record.accounting import unaccounted
from benchrig.record.journal import read_record
from benchrig.record.model import Record
from benchrig.report.outline import over_rounds


def soak(folder: Path, *words: str) -> tuple[dict[str, Any], Record]:
    folder.mkdir()
    command = [sys.executable, "-m", "tests.run.soak", folder, *words]
    done = subprocess.run(command, capture_output=True, text=True, cwd=Path(__file__).parents[2])
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    return told, read_record(Path(told["folder"]) / "record.jsonl")


@pytest.mark.slow
@pytest.mark.timeout(2400)
def test_a_hundred_thousand_rounds(tmp_path: Path) -> None:
    told, record = soak(tmp_path / "soak", "100000")
    seen = told["kilobytes"]
    assert len(seen) == 10
    # what it has after the first rounds it has after all of them, but for what Python's allocator does not give back
    assert max(seen[1:]) < seen[1] * 1.1
    assert sum(path.stat().st_size for path in Path(told["folder"]).iterdir()) < 5_000_000
    assert unaccounted(record) == []
    assert record.ended is not None
    assert (record.ended.exit_code, record.ended.planned) == (0, 100_004)
    level, rest = over_rounds(record)
    assert (level.times, rest.times, level.readings["value"].count) == (100_000, 100_000, 100_000)
    assert 0 < level.bad == level.readings["value"].failed < 1000
    assert len(level.failed) == 100


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_statistics_are_those_of_all_rounds(tmp_path: Path) -> None:
    _, thinned = soak(tmp_path / "thinned", "1000")
    _, whole = soak(tmp_path / "whole", "1000", "all")
    assert (thinned.nodes[2].left is None, whole.nodes[2].left) == (False, None)
    for one, other in zip(over_rounds(thinned), over_rounds(whole), strict=True):
        assert (one.verdicts, one.retried, one.seconds) == (other.verdicts, other.retried, pytest.approx(other.seconds))
        for name, reading in one.readings.items():
            same = other.readings[name]
            assert (reading.count, reading.passed, reading.failed, reading.unit) == (
                same.count,
                same.passed,
                same.failed,
                same.unit,
            )
            left, right = reading.samples, same.samples
            assert left is not None
            assert right is not None
            assert (left.minimum, left.maximum, left.outside) == (right.minimum, right.maximum, right.outside)
            assert (left.mean, left.sd) == (pytest.approx(right.mean, rel=1e-12), pytest.approx(right.sd, rel=1e-9))
    # what the repetition itself judged came from every round in both
    mine, others = ([(r.name, r.value, r.samples) for r in each.nodes[2].readings] for each in (thinned, whole))
    assert mine == others
