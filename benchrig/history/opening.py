"""A history that is open: its connections, one writer at a time."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url

from benchrig.errors import UsageError
from benchrig.history import tables
from benchrig.history.place import Place, place_of

# How long a writer waits for another one, in seconds.
PATIENCE = 30.0
# The lock of PostgreSQL that a writer holds: any number, the same for all.
_WRITER = 0x62656E63


def open_history(where: str | Path | Place, *, make: bool = False, patience: float = PATIENCE) -> History:
    """The history at this place; with `make` an empty one where none is there. StationError for one that cannot be used,
    UsageError for one that is not there."""
    place = where if isinstance(where, Place) else place_of(str(where))
    if place.file is not None and not make and not place.file.exists():
        raise UsageError(
            f"there is no history '{place.shown}'", advice="make one with benchrig history rebuild, or name another"
        )
    history = History(place, _engine(place, patience))
    tables.metadata.create_all(history.engine)
    return history


class History:
    """One database. Whoever opened it closes it."""

    def __init__(self, place: Place, engine: Engine) -> None:
        self.place = place
        self.engine = engine

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one state of the history, whatever is added meanwhile."""
        with self.engine.connect() as connection, connection.begin():
            yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction of the only writer: all of it, or nothing."""
        with self.engine.connect().execution_options(writing=True) as connection, connection.begin():
            yield connection

    def folder(self, stored: str) -> Path:
        """The folder of a run, as `runs.folder` has it."""
        return self.place.base / stored if self.place.base is not None else Path(stored)

    def stored_folder(self, folder: Path) -> str:
        """What `runs.folder` says of a folder: seen from a history in a file where that is beside or above it."""
        folder, base = folder.absolute(), self.place.base
        if base is not None and folder.is_relative_to(base):
            return folder.relative_to(base).as_posix()
        return folder.as_posix()

    def close(self) -> None:
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _engine(place: Place, patience: float) -> Engine:
    engine = _sqlite(place.file, patience) if place.file is not None else _postgresql(place.url, patience)
    event.listen(engine, "begin", _begin)
    return engine


def _sqlite(file: Path, patience: float) -> Engine:
    # SQLite's own transactions: Python's begin one too late for a reader, and take no lock for a writer
    return create_engine(
        make_url("sqlite://").set(database=str(file)), connect_args={"timeout": patience, "isolation_level": None}
    )


def _postgresql(url: str, patience: float) -> Engine:
    options: dict[str, Any] = {"connect_timeout": max(2, int(patience)), "options": f"-c lock_timeout={patience:g}s"}
    return create_engine(make_url(url).set(drivername="postgresql+psycopg"), connect_args=options)


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writing", False)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
    elif writes:
        connection.execute(text(f"SELECT pg_advisory_xact_lock({_WRITER})"))
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
