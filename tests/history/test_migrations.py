"""A history of an earlier version is brought up to date when it is opened, and answers as before."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import select, text

from benchrig.figures.yields import yields_of
from benchrig.history.adding import add_entries
from benchrig.history.filling import fill
from benchrig.history.migrations import upgrading
from benchrig.history.migrations.upgrading import HEAD, upgrade, version_of
from benchrig.history.opening import History, open_history
from benchrig.history.place import place_of
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.runs import runs_of
from benchrig.history.tables import runs
from tests.history.contents import contents
from tests.history.postgres import cluster, needs_postgresql
from tests.history.questions.kit import entry

HERE = Path(__file__).parent
RUNS = [
    entry(1, unit="A", readings={"read voltage.value": 5.0}),
    entry(2, unit="B", verdict="fail", step="read voltage", reading="value"),
    entry(3, unit="B", given="A", study="gauge 1"),
]
# What 0.8.0 knows of a run.
OLD = [name for name in RUNS[0].run if name not in {
    "purpose", "product", "slot", "person", "shift", "proof", "reference", "first_run", "again",
}]  # fmt: skip


def of_the_first_tables(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A history as 0.8.0 leaves it: the tables of the first migration, with these runs in them."""
    history = History(place_of(place))
    with monkeypatch.context() as patched, history.writing() as connection:
        patched.setattr(upgrading, "HEAD", "0001")
        upgrade(connection, "")
    with history.writing() as connection:
        for number, each in enumerate(RUNS, 1):
            row = {"run": number, **{name: each.run[name] for name in OLD}}
            marks = ", ".join(f":{name}" for name in row)
            connection.execute(text(f"INSERT INTO runs ({', '.join(row)}) VALUES ({marks})"), row)
    history.close()


def answers_as_before(place: str, tmp_path: Path) -> None:
    with open_history(place_of(place)) as history, open_history(tmp_path / "new.sqlite", make=True) as fresh:
        with history.reading() as connection:
            assert version_of(connection) == HEAD
            assert connection.scalars(select(runs.c.purpose)).all() == [""] * len(RUNS)
        add_entries(fresh, RUNS)
        assert contents(history)["runs"] == contents(fresh)["runs"]
        assert runs_of(history, Filters()) == runs_of(fresh, Filters())
        assert yields_of(history, Filters(), ("slot",)) == yields_of(fresh, Filters(), ("slot",))
        add_entries(history, [entry(9, unit="G", purpose="golden", slot="1")])
        assert [run.unit for run in runs_of(history, Filters(purpose=("golden",)))] == ["G"]


def test_a_file_of_0_8_0(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = str(tmp_path / "old.sqlite")
    of_the_first_tables(place, monkeypatch)
    answers_as_before(place, tmp_path)


def test_the_history_that_0_8_0_made_of_its_record(tmp_path: Path) -> None:
    """Brought up to date it holds what today's benchrig makes of the record."""
    with contextlib.closing(sqlite3.connect(tmp_path / "old.sqlite")) as old:
        old.executescript((HERE / "history_0_8_0.sql").read_text("utf-8"))
    record = HERE.parent / "record" / "format5" / "smoke_logger.jsonl"
    folder = tmp_path / "run-1"
    folder.mkdir()
    (folder / "record.jsonl").write_bytes(record.read_bytes())
    with open_history(tmp_path / "old.sqlite") as upgraded, open_history(tmp_path / "new.sqlite", make=True) as fresh:
        assert fill(fresh, [folder]).is_whole
        assert contents(upgraded) == contents(fresh)
        assert len(runs_of(upgraded, Filters(simulated=True))) == 1


def test_a_migration_that_is_broken_off_leaves_the_old_history(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "old.sqlite"
    of_the_first_tables(str(place), monkeypatch)
    monkeypatch.setattr("alembic.runtime.migration.MigrationContext.stamp", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        open_history(place)
    with sqlite3.connect(place) as connection:
        columns = [row[1] for row in connection.execute("PRAGMA table_info(runs)")]
    connection.close()
    assert "purpose" not in columns


@pytest.mark.slow
@needs_postgresql
def test_a_server_of_0_8_0(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("psycopg", reason="psycopg is not installed")
    with cluster() as server:
        of_the_first_tables(server.url, monkeypatch)
        answers_as_before(server.url, tmp_path)
