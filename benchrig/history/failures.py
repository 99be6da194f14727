"""What databases say when they fail, in plain words."""

from __future__ import annotations

import contextlib
import re
import sqlite3
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TypeVar

from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from benchrig.errors import StationError, UsageError
from benchrig.history import tables
from benchrig.history.place import Place, masked

T = TypeVar("T")


class HistoryAway(StationError):
    """It cannot be reached now, or is at work for somebody else: later it may be."""


class HistoryDamaged(StationError):
    """Its records are all that is left of it: it can be made anew."""


class BadUrl(ValueError):
    """What SQLAlchemy cannot take apart."""


# SQLAlchemy wraps their errors, but for those of a COPY.
_DRIVERS = ("sqlite3", "psycopg")
_LATER = "check the URL, and that the server runs; then run benchrig history deliver"

# By the beginning of SQLite's own names of errors: what is wrong, what to do. The longer name goes first.
_OF_SQLITE = {
    "SQLITE_FULL": ("the disk is full", "make room on the disk; then run benchrig history deliver"),
    "SQLITE_IOERR": ("the disk cannot be read or written", "check the disk; then run benchrig history rebuild"),
    "SQLITE_READONLY": ("this user may not write to it", "allow this user to write to the file and its folder"),
    "SQLITE_CANTOPEN": ("it cannot be opened", "check that its folder exists and that this user may use it"),
    "SQLITE_PERM": ("this user may not use it", "allow this user to read and write the file"),
    "SQLITE_AUTH": ("this user may not use it", "allow this user to read and write the file"),
    "SQLITE_NOTADB": ("it is not a database", "name another file; or remove it and run benchrig history rebuild"),
    "SQLITE_CORRUPT": ("it is damaged", "run benchrig history rebuild: it is made anew from the records"),
}
_BEGIN = b"SQLite format 3\0"
_BUSY = ("SQLITE_BUSY", "SQLITE_LOCKED")

# By the beginning of PostgreSQL's codes (SQLSTATE, PostgreSQL documentation, Appendix A).
_OF_POSTGRESQL = {
    "28": ("the server refuses this user, or his password", "check the user in the URL, and PGPASSWORD or ~/.pgpass"),
    "3D": ("the server has no such database", "make it with createdb, or correct the name at the end of the URL"),
    "42501": ("this user may not do that", "grant this user the right to read, write and make tables"),
    "42P01": (
        "tables of the history are missing in it",
        "remove its table history_version; then run benchrig history rebuild",
    ),
    "25006": ("the database takes no changes", "name the server that does"),
    "53100": ("the disk of the server is full", "make room on the server; then run benchrig history deliver"),
}
_AWAY = {
    "08": "the connection to the server was lost",
    "25P": "the server ended what was going on",
    "40": "another writer was at work on the same rows",
    "53": "the server has no resources left",
    "55P03": "another writer did not end in time",
    "57014": "the server did not answer in time",
    "57": "the server is shutting down, or just starting",
}


@contextlib.contextmanager
def plainly(place: Place) -> Iterator[None]:
    """Errors of the database as StationError; HistoryAway where waiting may help."""
    try:
        yield
    except (NoSuchModuleError, ModuleNotFoundError) as error:
        raise _driver_missing(place, error) from error
    except (ArgumentError, BadUrl) as error:
        raise UsageError(
            f"the URL {place.shown} of the history cannot be read", advice="write postgresql://USER@HOST:PORT/DATABASE"
        ) from error
    except Exception as error:
        cause = (error.orig if isinstance(error, DBAPIError) else None) or error
        if not type(cause).__module__.startswith(_DRIVERS) or (known := failure(place, cause)) is None:
            raise
        raise known from error


def failure(place: Place, error: BaseException) -> StationError | None:
    """What to say of an error of a driver; None for what is a bug of benchrig."""
    if isinstance(error, sqlite3.Error):
        return _of_sqlite(place, error)
    code = str(getattr(error, "sqlstate", None) or "")
    if code and (found := _longest(_OF_POSTGRESQL, code)):
        return StationError(f"the history {place.shown} cannot be used: {found[0]}{told_by(error)}", advice=found[1])
    if not code and not isinstance(error, _connection_errors()):
        return None
    reason = _longest(_AWAY, code) if code else "no connection to the server"
    if reason is None:
        return None
    said = reason + told_by(error)
    return HistoryAway(f"the history {place.shown} is away: {said}", advice=_LATER)


def _connection_errors() -> tuple[type[BaseException], ...]:
    """Those of psycopg that come without a code: it did not get so far."""
    import psycopg

    return psycopg.OperationalError, psycopg.InterfaceError


def _of_sqlite(place: Place, error: sqlite3.Error) -> StationError | None:
    name = getattr(error, "sqlite_errorname", "")
    if name.startswith(_BUSY):
        return HistoryAway(
            f"the history {place.shown} is locked: another process is writing to it", advice="try again when it is done"
        )
    if _lacks_a_table(error) or (name == "SQLITE_NOTADB" and _begins_well(place.file)):
        name = "SQLITE_CORRUPT"
    found = next((words for begin, words in _OF_SQLITE.items() if name.startswith(begin)), None)
    if found is None:
        return None
    kind = HistoryDamaged if name.startswith("SQLITE_CORRUPT") else StationError
    return kind(f"the history {place.shown} cannot be used: {found[0]}", advice=found[1])


def _lacks_a_table(error: sqlite3.Error) -> bool:
    lacking = re.match(r"no such table: (?:main\.)?(\w+)", str(error))
    return lacking is not None and lacking[1] in tables.metadata.tables


def _begins_well(file: Path | None) -> bool:
    """Whether it was a database before it was damaged."""
    if file is None:
        return False
    with contextlib.suppress(OSError), file.open("rb") as opened:
        return opened.read(len(_BEGIN)) == _BEGIN
    return False


def _longest(table: Mapping[str, T], code: str) -> T | None:
    fitting = [begin for begin in table if code.startswith(begin)]
    return table[max(fitting, key=len)] if fitting else None


def told_by(error: BaseException) -> str:
    """The first line of the server's own words; a connection string in it loses its password."""
    line = next(iter(str(error).strip().splitlines()), "")
    line = re.sub(r"(password=)\S+", r"\1***", masked(line))
    return f" ({line[:200]})" if line else ""


def _driver_missing(place: Place, error: BaseException) -> StationError:
    return StationError(
        f"the history {place.shown} needs a driver that is not installed ({error})",
        advice="install it with: pip install 'benchrig[postgresql]'",
    )
