"""Whether the history and the records on disk say the same."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from platform import node
from typing import NamedTuple

from sqlalchemy import Connection, func, select

from benchrig.history.adding import is_kept
from benchrig.history.delivery import clock_trouble
from benchrig.history.entry import Entry
from benchrig.history.folders import Loaded, all_loaded, found, has_record_of
from benchrig.history.opening import History
from benchrig.history.tables import runs
from benchrig.history.waiting import waiting
from benchrig.source.problem import counted


@dataclass
class Checked:
    """Each list names runs by their folders. All but `running`, `outside`, `elsewhere` and `notes` are to be put
    right."""

    entries: int = 0
    records: int = 0
    running: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)  # a record without an entry
    lost: list[str] = field(default_factory=list)  # an entry whose record is not there
    changed: list[str] = field(default_factory=list)  # a record that is not the one that was added
    copies: list[str] = field(default_factory=list)
    conflicts: list[str] = field(default_factory=list)  # a record with the id of another one
    damaged: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)  # an entry with its record, in a folder that was not named
    elsewhere: int = 0  # entries whose folders other computers keep: they are not looked at
    notes: list[str] = field(default_factory=list)

    @property
    def is_whole(self) -> bool:
        return not (self.missing or self.lost or self.changed or self.conflicts or self.damaged)


def check(history: History, below: Sequence[Path]) -> Checked:
    """Hold all entries against their records, and the records below these folders against the entries."""
    checked = Checked()
    with history.reading() as connection:
        known = {row[0]: Known(*row) for row in connection.execute(select(*_COLUMNS))}
        checked.notes += [*_one_name(connection)]
    checked.entries = len(known)
    held: dict[str, str] = {}  # the run ids that are in the folders; '' where nobody can say
    for batch in all_loaded(found(below), history.stored_folder):
        for each in batch:
            _hold(history, each, known, checked)
            held[history.stored_folder(each.folder)] = each.entry.run_id if each.entry else ""
    _look_after(history, known, held, checked)
    checked.notes += [*filter(None, [clock_trouble(history)]), *_waiting(below)]
    return checked


class Known(NamedTuple):
    """An entry."""

    run_id: str
    folder: str
    digest: str
    kept_on: str


_COLUMNS = runs.c.run_id, runs.c.folder, runs.c.digest, runs.c.kept_on


def _hold(history: History, each: Loaded, known: dict[str, Known], checked: Checked) -> None:
    checked.records += 1
    name = history.stored_folder(each.folder)
    if each.running:
        checked.running.append(name)
    elif each.entry is None:
        checked.damaged.append(each.problem)
    elif (row := known.get(each.entry.run_id)) is None:
        checked.missing.append(name)
    elif row.folder == name:
        checked.changed += [name] if row.digest != each.entry.run["digest"] else []
    elif row.digest != each.entry.run["digest"]:
        _differs(each.entry, row, name, checked)
    elif is_kept(history, row.run_id, row.folder, row.kept_on):
        checked.copies.append(f"{name} is a copy of {row.folder}")


def _differs(entry: Entry, row: Known, name: str, checked: Checked) -> None:
    if entry.is_whole:
        checked.conflicts.append(f"{name} has the run id of {row.folder}, and another record")
    else:
        checked.copies.append(f"{name} is a part of {row.folder}")


def _look_after(history: History, known: dict[str, Known], held: dict[str, str], checked: Checked) -> None:
    """The entries whose folders are to be on this computer."""
    here = node()
    for row in known.values():
        there = held.get(row.folder)
        if row.kept_on != here and Path(row.folder).is_absolute():
            checked.elsewhere += 1
        elif there is None and has_record_of(history.folder(row.folder), row.run_id):
            checked.outside.append(row.folder)
        elif there not in ("", row.run_id):
            checked.lost.append(row.folder)


def _one_name(connection: Connection) -> Iterator[str]:
    """Two stations that are told apart by nothing but the computer."""
    hosts = func.count(runs.c.host.distinct())
    for station, count in connection.execute(select(runs.c.station, hosts).group_by(runs.c.station).having(hosts > 1)):
        wanted = select(runs.c.host).where(runs.c.station == station).distinct().order_by(runs.c.host).limit(5)
        names = ", ".join(connection.scalars(wanted))
        yield f"the station '{station}' has runs on {count} computers ({names}); name each station differently"


def _waiting(below: Sequence[Path]) -> Iterator[str]:
    for place in below:
        if count := len(waiting(place)):
            yield f"{counted(count, 'run waits', 'runs wait')} in {place}: run benchrig history deliver {place}"
