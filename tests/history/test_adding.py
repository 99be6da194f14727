"""Records into a history: each run once, whatever comes in which order."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import func, select

from benchrig.history.adding import add_record
from benchrig.history.opening import History, open_history
from benchrig.history.tables import channels, readings, runs
from benchrig.record.journal import read_record
from tests.history.folders import end_of_line, write


@pytest.fixture
def history(tmp_path: Path) -> History:
    with open_history(tmp_path / "history.sqlite", make=True) as opened:
        yield opened


def count(history: History, table) -> int:
    with history.reading() as connection:
        return connection.scalar(select(func.count()).select_from(table))


def test_a_run_is_added_once(history: History, tmp_path: Path) -> None:
    folder = write(tmp_path / "one", end_of_line())
    added = add_record(history, read_record(folder), folder)
    again = add_record(history, read_record(folder), folder)
    assert (added.new, again.known) == (["one"], ["one"])
    assert (count(history, runs), count(history, readings)) == (1, count(history, channels))


def test_a_copy_is_the_same_run_and_another_record_with_its_id_is_not(history: History, tmp_path: Path) -> None:
    first, copy, other = (tmp_path / name for name in ("first", "copy", "other"))
    for folder, station in ((first, "a"), (copy, "a"), (other, "b")):
        write(folder, end_of_line(station=station))
    results = [add_record(history, read_record(folder), folder) for folder in (first, copy, other)]
    assert results[1].copies == [("copy", "first")]
    assert results[2].conflicts == [("other", "first")]
    assert count(history, runs) == 1


def test_a_complete_record_takes_the_place_of_one_that_was_cut_off(history: History, tmp_path: Path) -> None:
    folder = write(tmp_path / "run", end_of_line())
    lines = (folder / "record.jsonl").read_bytes().splitlines(keepends=True)
    (folder / "record.jsonl").write_bytes(b"".join(lines[:-5]))
    assert add_record(history, read_record(folder), folder).new == ["run"]
    (folder / "record.jsonl").write_bytes(b"".join(lines))
    assert add_record(history, read_record(folder), folder).completed == ["run"]
    assert count(history, readings) == count(history, channels)
