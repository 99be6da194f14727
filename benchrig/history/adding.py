"""Entries into the history, each run once."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from hashlib import sha256
from pathlib import Path
from platform import node
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import Connection, Table, delete, func, select, update

from benchrig.history.entry import DEVICE, MOST, READING, STEP, Bound, Channel, Entry, entry_of
from benchrig.history.folders import has_record_of
from benchrig.history.opening import History
from benchrig.history.tables import bounds, channels, devices, readings, runs, steps
from benchrig.record.journal import RECORD
from benchrig.record.model import Record

T = TypeVar("T")


class Pair(NamedTuple):
    """Two folders with a record of one run id."""

    folder: str
    known: str


@dataclass
class Added:
    """What adding came to, by the folders of the runs as the history names them."""

    new: list[str] = field(default_factory=list)
    known: list[str] = field(default_factory=list)  # from this folder already
    moved: list[Pair] = field(default_factory=list)  # the folder that was known is gone
    copies: list[Pair] = field(default_factory=list)  # the folder that is known has the same record, or more of it
    completed: list[str] = field(default_factory=list)  # took the place of a record that was cut off
    conflicts: list[Pair] = field(default_factory=list)  # the folder that is known has another record: nothing changed

    def __iadd__(self, other: Added) -> Added:
        for each in fields(self):
            getattr(self, each.name).extend(getattr(other, each.name))
        return self


def add_record(history: History, record: Record, folder: Path) -> Added:
    """Add the run in this folder, whose record this is."""
    return add_entries(history, [entry_of(record, (folder / RECORD).read_bytes(), history.stored_folder(folder))])


def add_entries(history: History, entries: Sequence[Entry]) -> Added:
    """All of them in one transaction."""
    if not entries:
        return Added()
    with history.writing() as connection:
        return add_to(history, connection, entries)


def add_to(history: History, connection: Connection, entries: Sequence[Entry]) -> Added:
    """In the transaction of this connection."""
    added = Added()
    known = _known(connection, [entry.run_id for entry in entries])
    wanted, moved = dict[str, Entry](), list[Entry]()
    for entry in entries:
        before = known.get(entry.run_id)
        became = _becomes(entry, before, history)
        _note(added, became, entry, before)
        if became == "moved":
            moved.append(entry)
        if became in ("new", "completed"):
            wanted[entry.run_id] = entry
            known[entry.run_id] = entry.run
            if before is not None and "run" in before:
                remove(connection, before["run"])
    _insert(connection, [*wanted.values()])
    for entry in moved:
        place = {name: entry.run[name] for name in ("folder", "kept_on")}
        connection.execute(update(runs).where(runs.c.run_id == entry.run_id).values(place))
    return added


def _known(connection: Connection, ids: Sequence[str]) -> dict[str, dict[str, Any]]:
    columns = runs.c.run, runs.c.run_id, runs.c.digest, runs.c.size, runs.c.verdict, runs.c.folder, runs.c.kept_on
    known: dict[Any, Any] = {}
    for some in _parts(ids):
        found = connection.execute(select(*columns).where(runs.c.run_id.in_(some))).mappings()
        known |= {row["run_id"]: dict(row) for row in found}
    return known


def _becomes(entry: Entry, known: dict[str, Any] | None, history: History) -> str:
    """Which list of `Added` it comes to. A new or a completed one goes in."""
    if known is None:
        return "new"
    same = known["digest"] == entry.run["digest"]
    if known["verdict"] == "cut off" and not same and (entry.is_whole or entry.run["size"] > known["size"]):
        return "completed"
    if same and known["folder"] == entry.run["folder"]:
        return "known"
    if same and not is_kept(history, known["run_id"], known["folder"], known["kept_on"]):
        return "moved"
    return "copies" if same or not entry.is_whole else "conflicts"


def is_kept(history: History, run_id: str, folder: str, kept_on: str) -> bool:
    """Whether the record of a run is where its entry says. What another computer keeps is not looked for here."""
    if kept_on != node() and Path(folder).is_absolute():
        return True
    return has_record_of(history.folder(folder), run_id)


def _note(added: Added, became: str, entry: Entry, known: dict[str, Any] | None) -> None:
    folder = entry.run["folder"]
    pairs = became in ("moved", "copies", "conflicts") and known is not None
    getattr(added, became).append(Pair(folder, known["folder"]) if pairs and known else folder)


def remove(connection: Connection, run: int) -> None:
    for table in (readings, steps, devices, runs):
        connection.execute(delete(table).where(table.c.run == run))


def _insert(connection: Connection, entries: Sequence[Entry]) -> None:
    if not entries:
        return
    channel = _numbers(connection, channels, _CHANNEL, {c for entry in entries for c, _, _ in entry.readings})
    bound = _numbers(connection, bounds, _BOUND, {b for entry in entries for _, b, _ in entry.readings})
    numbered = [*enumerate(entries, start=_next(connection, runs))]
    heads = [*entries[0].run]
    _rows(connection, runs, ["run", *heads], [(run, *(each.run[name] for name in heads)) for run, each in numbered])
    seen = [(run, n, *row) for run, each in numbered for n, row in enumerate(each.devices)]
    _rows(connection, devices, ["run", "n", *DEVICE], seen)
    carried_out = [(run, n, *row) for run, each in numbered for n, row in enumerate(each.steps)]
    _rows(connection, steps, ["run", "n", *STEP], carried_out)
    taken = sorted(
        (channel[c], run, n, bound[b], *row) for run, each in numbered for n, (c, b, row) in enumerate(each.readings)
    )  # in the order of the table
    _rows(connection, readings, ["channel", "run", "n", "bound", *READING], taken)


_CHANNEL = ("plan", "step", "occurrence", "reading", "measure")
_BOUND = ("words", "low", "high", "stated_low", "stated_high", "guard")
# Values of a statement at a time.
_AT_A_TIME = 500


def _numbers(
    connection: Connection, table: Table, names: Sequence[str], wanted: set[Channel] | set[Bound]
) -> dict[Any, int]:
    """The numbers of channels or bounds; those that are new get one."""
    number = next(iter(table.primary_key))
    keys = {_key(each): each for each in wanted}
    known: dict[Any, Any] = {}
    for some in _parts(sorted(keys)):
        found = connection.execute(select(table.c.key, number).where(table.c.key.in_(some)))
        known |= {keys[key]: count for key, count in found}
    new = [(key, each) for key, each in sorted(keys.items()) if each not in known]
    rows = [(count, key, *each) for count, (key, each) in enumerate(new, start=_next(connection, table))]
    _rows(connection, table, [number.name, "key", *names], rows)
    return known | {each: row[0] for (_, each), row in zip(new, rows, strict=True)}


def _key(of: Channel | Bound) -> str:
    """Short enough for an index of every database."""
    key = json.dumps(of)
    return key if len(key) <= MOST else sha256(key.encode()).hexdigest()


def _parts(of: Sequence[T]) -> Iterator[Sequence[T]]:
    return (of[at : at + _AT_A_TIME] for at in range(0, len(of), _AT_A_TIME))


def _next(connection: Connection, table: Table) -> int:
    number = next(iter(table.primary_key))
    return (connection.scalar(select(func.max(number))) or 0) + 1


def _rows(connection: Connection, table: Table, names: Sequence[str], rows: Sequence[tuple[Any, ...]]) -> None:
    """Straight to the driver: SQLAlchemy's own way takes longer than the database."""
    if not rows:
        return
    if connection.dialect.name == "sqlite":
        marks = ", ".join("?" * len(names))
        connection.exec_driver_sql(f"INSERT INTO {table.name} ({', '.join(names)}) VALUES ({marks})", [*rows])
        return
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f"COPY {table.name} ({', '.join(names)}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)
