"""Entries into the history, each run once."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, delete, func, insert, select

from benchrig.history.entry import Bound, Channel, Entry, entry_of
from benchrig.history.opening import History
from benchrig.history.tables import bounds, channels, devices, readings, runs, steps
from benchrig.record.journal import RECORD
from benchrig.record.model import Record


@dataclass
class Added:
    """What adding came to, by the folders of the runs."""

    new: list[str] = field(default_factory=list)
    known: list[str] = field(default_factory=list)  # from this folder already
    copies: list[tuple[str, str]] = field(default_factory=list)  # of a record that is known, and where that is
    completed: list[str] = field(default_factory=list)  # took the place of a record that was cut off
    conflicts: list[tuple[str, str]] = field(default_factory=list)  # another record has this run's id, and where


def add_record(history: History, record: Record, folder: Path) -> Added:
    """Add the run in this folder, whose record this is."""
    return add_entries(history, [entry_of(record, (folder / RECORD).read_bytes(), history.stored_folder(folder))])


def add_entries(history: History, entries: Sequence[Entry]) -> Added:
    """All of them in one transaction."""
    added = Added()
    with history.writing() as connection:
        _add(connection, entries, added)
    return added


def _add(connection: Connection, entries: Sequence[Entry], added: Added) -> None:
    known = _known(connection, [entry.run_id for entry in entries])
    wanted: dict[str, Entry] = {}
    for entry in entries:
        if _is_wanted(connection, entry, known.get(entry.run_id), added):
            wanted[entry.run_id] = entry
            known[entry.run_id] = entry.run
    _insert(connection, [*wanted.values()])


def _known(connection: Connection, ids: Sequence[str]) -> dict[str, dict[str, Any]]:
    columns = runs.c.run, runs.c.run_id, runs.c.digest, runs.c.size, runs.c.verdict, runs.c.folder
    found = connection.execute(select(*columns).where(runs.c.run_id.in_(ids))).mappings()
    return {row["run_id"]: dict(row) for row in found}


def _is_wanted(connection: Connection, entry: Entry, known: dict[str, Any] | None, added: Added) -> bool:
    folder = entry.run["folder"]
    if known is None:
        added.new.append(folder)
        return True
    if known["digest"] == entry.run["digest"]:
        added.known.append(folder) if known["folder"] == folder else added.copies.append((folder, known["folder"]))
        return False
    if known["verdict"] == "cut off" and (entry.is_whole or entry.run["size"] > known["size"]):
        if "run" in known:
            remove(connection, known["run"])
        added.completed.append(folder)
        return True
    place = added.conflicts if entry.is_whole else added.copies
    place.append((folder, known["folder"]))
    return False


def remove(connection: Connection, run: int) -> None:
    for table in (readings, steps, devices, runs):
        connection.execute(delete(table).where(table.c.run == run))


def _insert(connection: Connection, entries: Sequence[Entry]) -> None:
    if not entries:
        return
    first = _next(connection, runs)
    channel = _numbers(connection, channels, _CHANNEL, {c for each in entries for c, _, _ in each.readings})
    bound = _numbers(connection, bounds, _BOUND, {b for each in entries for _, b, _ in each.readings})
    numbered = [*enumerate(entries, start=first)]
    _rows(connection, runs, ({"run": run, **entry.run} for run, entry in numbered))
    _rows(connection, devices, ({"run": run, **row} for run, entry in numbered for row in entry.devices))
    _rows(connection, steps, ({"run": run, **row} for run, entry in numbered for row in entry.steps))
    _rows(
        connection,
        readings,
        (
            {"run": run, "channel": channel[c], "bound": bound[b], **row}
            for run, entry in numbered
            for c, b, row in entry.readings
        ),
    )


_CHANNEL = ("plan", "step", "occurrence", "reading", "measure")
_BOUND = ("words", "low", "high", "stated_low", "stated_high", "guard")


def _numbers(
    connection: Connection, table: Table, names: tuple[str, ...], wanted: set[Channel] | set[Bound]
) -> dict[Any, int]:
    """The numbers of channels or bounds; those that are new get one."""
    number = next(iter(table.primary_key))
    known = {tuple(row[1:]): row[0] for row in connection.execute(select(number, *(table.c[name] for name in names)))}
    missing = sorted((each for each in wanted if each not in known), key=repr)
    for count, each in enumerate(missing, start=_next(connection, table)):
        known[each] = count
        key = {"key": json.dumps(each)} if table is bounds else {}
        connection.execute(insert(table), {number.name: count, **dict(zip(names, each, strict=True)), **key})
    return known


def _next(connection: Connection, table: Table) -> int:
    number = next(iter(table.primary_key))
    return (connection.scalar(select(func.max(number))) or 0) + 1


def _rows(connection: Connection, table: Table, rows: Iterable[dict[str, Any]]) -> None:
    if batch := [*rows]:
        connection.execute(insert(table), batch)
