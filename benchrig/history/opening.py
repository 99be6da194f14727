"""A history that is open: its connections, one writer at a time."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Self

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, event, text
from sqlalchemy.engine import make_url

from benchrig.errors import UsageError
from benchrig.files import cannot_write
from benchrig.history.failures import BadUrl, plainly
from benchrig.history.migrations.upgrading import HEAD, check_is_ours, check_version, upgrade, version_of
from benchrig.history.place import Place, place_of

# How long a writer waits for another one, in seconds.
PATIENCE = 30.0
# The lock of PostgreSQL that a writer holds: any number, the same for all.
_WRITER = 0x62656E63


def open_history(where: str | Path | Place, *, make: bool = False, patience: float = PATIENCE) -> History:
    """The history at this place, brought up to date; with `make` an empty one where none is there. StationError for one that
    cannot be used, UsageError for one that is not there. Waits for a server or another writer for `patience` seconds."""
    place = where if isinstance(where, Place) else place_of(str(where))
    if place.file is not None and not place.file.exists():
        if not make:
            raise _not_there(place)
        _make_folder(place.file)
    history = History(place, patience)
    try:
        _bring_up(history, make=make)
    except BaseException:
        history.close()
        raise
    return history


def _not_there(place: Place) -> UsageError:
    return UsageError(
        f"there is no history {place.shown}", advice="make one with benchrig history rebuild DIR, or name another"
    )


def _make_folder(file: Path) -> None:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write(file, error, "name another place for the history") from error


def _bring_up(history: History, *, make: bool) -> None:
    with history.reading() as connection:
        version = version_of(connection)
    check_version(history.place, version)
    if version == HEAD:
        return
    if not version and not make:
        raise _not_there(history.place)
    with history.writing() as connection:
        if (version := version_of(connection)) != HEAD:  # nobody else has made it meanwhile
            if not version:
                check_is_ours(history.place, connection)
            upgrade(connection, version)


class History:
    """One database. Whoever opened it closes it."""

    def __init__(self, place: Place, patience: float = PATIENCE) -> None:
        self.place = place
        self._base = place.file.resolve().parent if place.file is not None else None
        with plainly(place):
            self.engine = _engine(place, patience)

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one state of the history, whatever is added meanwhile."""
        with plainly(self.place), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction of the only writer: all of it, or nothing."""
        with plainly(self.place), self._only_writer() as connection:
            yield connection

    @contextlib.contextmanager
    def _only_writer(self) -> Iterator[Connection]:
        """Not of a file that a rebuilt one took the place of while this one waited."""
        while True:
            before = _identity(self.place.file)
            with self.engine.connect().execution_options(writing=True) as connection, connection.begin():
                if _identity(self.place.file) == before:
                    yield connection
                    return

    def folder(self, stored: str) -> Path:
        """The folder of a run, as `runs.folder` has it."""
        return self._base / stored if self._base is not None else Path(stored)

    def stored_folder(self, folder: Path) -> str:
        """What `runs.folder` says of a folder: seen from a history in a file where that is beside or above it. A folder has one
        name, whichever links lead to it or to the history."""
        folder, base = Path(os.path.realpath(folder)), self._base
        if base is not None and folder.is_relative_to(base):
            return folder.relative_to(base).as_posix()
        return folder.as_posix()

    def close(self) -> None:
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _identity(file: Path | None) -> tuple[int, int] | None:
    """Which file is at this path; the same for one that is not there as for one that was just made."""
    if file is None or not file.exists():
        return None
    found = file.stat()
    return found.st_dev, found.st_ino


def _engine(place: Place, patience: float) -> Engine:
    engine = _sqlite(place.file, patience) if place.file is not None else _postgresql(place.url, patience)
    event.listen(engine, "begin", _begin)
    return engine


def _sqlite(file: Path, patience: float) -> Engine:
    # SQLite's own transactions: Python's begin one too late for a reader, and take no lock for a writer
    return create_engine(
        make_url("sqlite://").set(database=str(file)),
        connect_args={"timeout": patience, "isolation_level": None},
        poolclass=NullPool,
    )


def _postgresql(url: str, patience: float) -> Engine:
    # a server that says nothing any more, or whose computer is gone, must not hold whoever asks it
    waiting = f"-c lock_timeout={patience:g}s -c idle_in_transaction_session_timeout=600s"
    options: dict[str, Any] = {
        "connect_timeout": max(2, int(patience)),
        "tcp_user_timeout": max(2000, int(patience * 1000)),
        "options": waiting,
        "application_name": "benchrig",
    }
    return create_engine(_url(url), connect_args=options, poolclass=NullPool)


def _url(text: str) -> URL:
    try:
        return make_url(text).set(drivername="postgresql+psycopg")
    except ValueError as error:
        raise BadUrl(str(error)) from error


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writing", False)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
    elif writes:
        connection.execute(text(f"SELECT pg_advisory_xact_lock({_WRITER})"))
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
