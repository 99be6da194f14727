"""Runs that come into a history when they are over: at once, or when it is back; whatever happens, the run stays what it is."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from benchrig.history.delivery import Delivery, due
from benchrig.history.filling import rebuild
from benchrig.history.opening import open_history
from benchrig.history.place import place_of
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.runs import runs_of
from benchrig.history.waiting import forget, waiting
from benchrig.report.index import IndexLine
from tests.cli.calling import call
from tests.cli.kit import files, here
from tests.history.folders import end_of_line, write
from tests.test_launch import READ, run

AWAY = "postgresql://tester@127.0.0.1:1/history"


def folders_in(file: Path) -> list[str]:
    with open_history(file) as history:
        return [each.folder for each in runs_of(history, Filters())]


def over(folder: Path, number: int, place: str) -> Delivery:
    delivery = Delivery(place_of(place), folder)
    delivery.begin()
    write(folder, end_of_line(number))
    return delivery


@pytest.fixture
def results(tmp_path: Path) -> Path:
    place = tmp_path / "results"
    place.mkdir()
    return place


def test_what_could_not_be_delivered_is_delivered_by_the_next_run(results: Path) -> None:
    file = results / "history.sqlite"
    file.mkdir()
    assert "it cannot be opened" in over(results / "one", 1, str(file)).deliver()
    assert waiting(results) == [results / "one"]
    file.rmdir()
    results = results.rename(results.with_name("moved"))
    file = results / "history.sqlite"
    assert over(results / "two", 2, str(file)).deliver() == ""
    assert (folders_in(file), waiting(results)) == (["one", "two"], [])


def test_a_run_that_waits_for_one_history_is_not_taken_by_another(results: Path) -> None:
    """Whatever else it comes into: it would never come into its own. Asked to, benchrig delivers it elsewhere."""
    said = over(results / "one", 1, AWAY).deliver()
    assert said.startswith(f"this run waits for the history: the history {AWAY} is away: no connection to the server")
    file = results / "history.sqlite"
    assert over(results / "two", 2, str(file)).deliver() == ""
    assert (folders_in(file), waiting(results)) == (["two"], [results / "one"])
    assert call("history", "add", results, "--history", file).exit_code == 0
    assert (folders_in(file), waiting(results)) == (["one", "two"], [results / "one"])
    assert call("history", "deliver", results, "--history", file).exit_code == 0
    assert waiting(results) == []


def test_a_run_that_was_killed_is_delivered_as_cut_off_and_one_at_work_is_not(results: Path) -> None:
    file = results / "history.sqlite"
    killed, at_work = over(results / "killed", 1, str(file)), over(results / "at work", 2, str(file))
    record = killed.folder / "record.jsonl"
    record.write_bytes(b"".join(record.read_bytes().splitlines(keepends=True)[:-1]))
    (results / ".died early.waiting").touch()
    with IndexLine(at_work.folder):
        assert over(results / "two", 3, str(file)).deliver() == ""
        assert waiting(results) == [at_work.folder]
    with open_history(file) as history:
        assert {each.folder: each.verdict for each in runs_of(history, Filters())} == {
            "killed": "cut off",
            "two": "pass",
        }
    assert due(results) == [at_work.folder]


def test_a_run_at_work_waits_on_while_its_history_is_rebuilt(results: Path) -> None:
    """Nothing else would bring it in, if it is killed later."""
    at_work, file = over(results / "at work", 1, AWAY), results / "history.sqlite"
    with IndexLine(at_work.folder):
        rebuild(place_of(str(file)), [results])
        assert waiting(results) == [at_work.folder]
    forget([at_work.folder])
    at_work.deliver()  # to a history that is away
    assert waiting(results) == [at_work.folder]


def test_a_damaged_record_waits_and_is_named(results: Path) -> None:
    damaged = over(results / "damaged", 1, str(results / "history.sqlite"))
    (damaged.folder / "record.jsonl").write_bytes(b"no record\n")
    said = over(results / "two", 2, str(results / "history.sqlite")).deliver()
    assert said.startswith(
        f"the history lacks a run: {damaged.folder / 'record.jsonl'}:1: this is not a line of a record"
    )
    assert waiting(results) == [damaged.folder]


@pytest.mark.slow
def test_another_writer_is_not_waited_for_longer_than_two_seconds(results: Path) -> None:
    file = results / "history.sqlite"
    with open_history(file, make=True) as history, history.writing():
        said = over(results / "one", 1, str(file)).deliver()
    assert said == f"this run waits for the history: the history {file} is locked: another process is writing to it"


def test_a_clock_that_was_set_back_is_told(results: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = str(results / "history.sqlite")
    monkeypatch.setattr(time, "time", lambda: 1_000_000_000.0)  # 2001
    assert (
        over(results / "one", 1, file)
        .deliver()
        .startswith(
            "the clock of this computer was set back: the history has a run of 2026-01-05 06:01:00 UTC, which is still to come"
        )
    )


def test_runs_come_into_the_history_of_their_results(tmp_path: Path) -> None:
    """One that is not there is not made unasked."""
    start = files(tmp_path, READ)
    assert run(start, start=here).returncode == 0
    assert not (tmp_path / "results" / "history.sqlite").exists()
    assert call("history", "rebuild", tmp_path / "results").exit_code == 0
    done = run(start, start=here)
    assert (done.returncode, done.stderr) == (0, "")
    listed = call("history", "runs", "--simulated", "--csv", "--history", tmp_path / "results" / "history.sqlite")
    assert len(listed.stdout.splitlines()) == 3
    assert call("history", "check", tmp_path / "results").exit_code == 0


def test_a_run_whose_history_is_away_is_what_it_is(tmp_path: Path) -> None:
    done = run(files(tmp_path, READ), "--history", AWAY, start=here)
    assert done.returncode == 0
    assert done.stderr.startswith("benchrig: this run waits for the history: ")
    assert len(waiting(tmp_path / "results")) == 1
    delivered = call("history", "deliver", tmp_path / "results", "--history", AWAY)
    assert delivered.exit_code == 7
    assert call("history", "deliver", tmp_path / "results").stdout.endswith("history.sqlite: 1 run added\n")
