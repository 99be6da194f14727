"""Nothing is lost and nothing doubled: importing processes that are killed, many at once, a server that goes and comes back."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import alembic.command  # noqa: F401 - a child that loads it dies of nothing else
import pytest
from sqlalchemy import func, select, text

from benchrig.history import folders as history_folders
from benchrig.history.failures import HistoryAway
from benchrig.history.filling import fill
from benchrig.history.opening import History, open_history
from benchrig.history.tables import readings, runs
from tests.history.contents import contents
from tests.history.folders import end_of_line, write
from tests.history.postgres import cluster, needs_postgresql

FORK = multiprocessing.get_context("fork")
VALUES = [4.0 + n / 10 for n in range(10)]


def records(place: Path, count: int) -> list[Path]:
    return [
        write(place / f"run-{n:05}", end_of_line(n, values=[value + n / 1000 for value in VALUES]))
        for n in range(count)
    ]


def whole(history: History) -> int:
    """The number of runs; each with all its readings, and none twice."""
    with history.reading() as connection:
        count = connection.scalar(select(func.count()).select_from(runs)) or 0
        of_runs = select(func.count().label("n")).select_from(readings).group_by(readings.c.run).subquery()
        assert set(connection.scalars(select(of_runs.c.n))) <= {len(VALUES)}
        assert connection.scalar(select(func.count()).select_from(readings)) == count * len(VALUES)
        assert connection.scalar(select(func.count(runs.c.run_id.distinct()))) == count
    return count


def start(work: Callable[..., None], *arguments: object) -> multiprocessing.process.BaseProcess:
    process = FORK.Process(target=work, args=arguments)
    process.start()
    return process


def one_by_one(monkeypatch: pytest.MonkeyPatch, batch: int) -> None:
    monkeypatch.setattr(history_folders, "BATCH", batch)
    monkeypatch.setattr(history_folders, "cores", lambda: 1)


def fill_all(where: str, places: Sequence[Path]) -> None:
    with open_history(where, make=True) as history:
        fill(history, places)


def kill_at_random_moments(tmp_path: Path, times: int, seed: int) -> None:
    """An import of 60 records is killed in all its phases, however long it takes here, then goes on where it was."""
    places, rng = records(tmp_path / "results", 60), random.Random(seed)
    began = time.monotonic()
    start(fill_all, str(tmp_path / "whole.sqlite"), places).join()
    span = 1.1 * (time.monotonic() - began)
    killed = rounds = 0
    while killed < times:
        rounds += 1
        file = tmp_path / f"{rounds}.sqlite"
        killed += _killed(file, places, rng, span)
        with open_history(str(file)) as history:
            assert whole(history) == len(places)
            grown = contents(history)
        with open_history(tmp_path / f"{rounds}-fresh.sqlite", make=True) as fresh:
            fill(fresh, places)
            assert contents(fresh) == grown


def _killed(file: Path, places: Sequence[Path], rng: random.Random, span: float) -> int:
    """How often an import was killed before it came to its end: at most 20 times, then it is left alone."""
    for count in range(21):
        child = start(fill_all, str(file), places)
        child.join(rng.uniform(0.0, span) if count < 20 else None)
        if child.exitcode is not None:
            assert child.exitcode == 0
            return count
        assert child.pid is not None
        os.kill(child.pid, signal.SIGKILL)
        child.join()
        _check_after_death(file)
    raise AssertionError("the import never ended")


def _check_after_death(file: Path) -> None:
    """What is there is whole; it may have died before there was a history."""
    if not file.exists() or not file.stat().st_size:
        return
    with open_history(str(file), make=True) as history:
        whole(history)
        with history.reading() as connection:
            assert connection.scalar(text("PRAGMA quick_check")) == "ok"


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_an_import_is_killed_at_200_random_moments(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one_by_one(monkeypatch, 5)
    kill_at_random_moments(tmp_path, 200, seed=2)


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_eight_processes_add_to_one_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one_by_one(monkeypatch, 10)
    places = records(tmp_path / "results", 200)
    processes = [
        start(fill_all, str(tmp_path / "history.sqlite"), random.Random(n).sample(places, 200)) for n in range(8)
    ]
    for process in processes:
        process.join()
    assert {process.exitcode for process in processes} == {0}
    with open_history(tmp_path / "history.sqlite") as history:
        assert whole(history) == len(places)


def insist(where: str, places: Sequence[Path]) -> None:
    """Until the server has them all, whatever becomes of it in between."""
    until = time.monotonic() + 240
    while True:
        try:
            fill_all(where, places)
            return
        except HistoryAway:
            assert time.monotonic() < until
            time.sleep(0.2)  # the server is away in real time


@pytest.mark.slow
@pytest.mark.timeout(500)
@needs_postgresql
def test_eight_processes_add_2000_records_to_a_server_that_is_stopped_in_between(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each record is added by two of them, at about the same time."""
    one_by_one(monkeypatch, 20)
    places = records(tmp_path / "results", 2000)
    with cluster() as server:
        parts = [[place for n, place in enumerate(places) if n % 8 in (part, (part + 1) % 8)] for part in range(8)]
        processes = [start(insist, server.url, part) for part in parts]
        for how in ("fast", "immediate", "fast", "immediate"):
            _wait_for_more(server.url, processes)
            server.stop(how)
            server.start()
        for process in processes:
            process.join()
        assert {process.exitcode for process in processes} == {0}
        with open_history(server.url) as history:
            assert whole(history) == len(places)
            grown = contents(history)
        with open_history(tmp_path / "fresh.sqlite", make=True) as fresh:
            fill(fresh, places)
            assert contents(fresh) == grown


def _wait_for_more(url: str, processes: Sequence[multiprocessing.process.BaseProcess]) -> None:
    """Until the server has more runs than now, so that each stop comes in the midst of the work."""
    before = _count(url)
    while _count(url) <= before and any(process.is_alive() for process in processes):
        time.sleep(0.1)


def _count(url: str) -> int:
    with open_history(url, make=True) as history, history.reading() as connection:
        return connection.scalar(select(func.count()).select_from(runs)) or 0
