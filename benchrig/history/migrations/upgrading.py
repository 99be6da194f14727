"""The version of a database, and the way to today's."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Column, Connection, MetaData, Table, Text, inspect, select

from benchrig.errors import StationError, UsageError
from benchrig.history import tables
from benchrig.history.place import Place

# The name of the newest file in versions/.
HEAD = "0002"
TABLE = "history_version"

_version = Table(TABLE, MetaData(), Column("version_num", Text))


def version_of(connection: Connection) -> str:
    """'' for a database without a history."""
    if not inspect(connection).has_table(TABLE):
        return ""
    return str(connection.scalar(select(_version.c.version_num)) or "")


def check_version(place: Place, version: str) -> None:
    """StationError for a history that a later benchrig has made."""
    if version and version > HEAD:
        raise StationError(
            f"the history {place.shown} was written by a newer version of benchrig: expected tables {HEAD}, found {version}",
            advice="install that version of benchrig; or rebuild the history at another place",
        )


def check_is_ours(place: Place, connection: Connection) -> None:
    """UsageError for a database of something else: nothing is written to it."""
    names = set(inspect(connection).get_table_names())
    foreign = names if place.file is not None else names & tables.metadata.tables.keys()
    if foreign:
        raise UsageError(
            f"{place.shown} is a database of something else: it has the table '{min(foreign)}' and no history",
            advice="name another file, or another database",
        )


def upgrade(connection: Connection, version: str) -> None:
    """From that version, in the transaction of this connection: all of it, or nothing."""
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory(str(Path(__file__).parent))
    context = MigrationContext.configure(connection, opts={"version_table": TABLE})
    with Operations.context(context):
        for script in reversed([*scripts.iterate_revisions(HEAD, version or "base")]):
            script.module.upgrade()
    context.stamp(scripts, HEAD)
