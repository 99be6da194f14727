"""Folders of runs into the history, and a history made anew from them."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from platform import node

from sqlalchemy import Connection, delete, select

from benchrig.errors import BenchrigError, StationError
from benchrig.history.adding import Added, add_entries, add_to
from benchrig.history.entry import Entry
from benchrig.history.failures import HistoryDamaged, plainly, told_by
from benchrig.history.folders import Loaded, all_loaded, found
from benchrig.history.opening import History, open_history
from benchrig.history.place import Place
from benchrig.history.tables import devices, readings, runs, steps
from benchrig.history.waiting import forget


@dataclass
class Filled:
    """What became of the folders: `problems` says of some why they could not be added."""

    added: Added = field(default_factory=Added)
    running: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)  # those of the problems that the database did not take
    gone: int = 0  # runs that the history had before it was rebuilt, whose records are not there any more

    @property
    def is_whole(self) -> bool:
        return not (self.problems or self.added.conflicts)

    def __iadd__(self, other: Filled) -> Filled:
        self.added += other.added
        self.running += other.running
        self.problems += other.problems
        self.refused += other.refused
        return self

    def take(self, batch: Sequence[Loaded]) -> None:
        self.running += [str(each.folder) for each in batch if each.running]
        self.problems += [each.problem for each in batch if each.problem]


def fill(history: History, folders: Sequence[Path]) -> Filled:
    """Add them, a transaction a batch: what ended it in between is still to add, and nothing is in it twice."""
    filled = Filled()
    for batch in _added(history, folders, filled):
        forget(_taken(batch, filled), history.place)
    return filled


def _taken(batch: Sequence[Loaded], filled: Filled) -> list[Path]:
    """The folders whose runs wait no more."""
    return [each.folder for each in batch if each.entry and each.entry.run["folder"] not in filled.refused]


def _added(history: History, folders: Sequence[Path], filled: Filled) -> Iterator[list[Loaded]]:
    for batch in all_loaded(folders, history.stored_folder):
        filled.take(batch)
        _add(history, [each.entry for each in batch if each.entry], filled)
        yield batch


def _add(history: History, entries: Sequence[Entry], filled: Filled) -> None:
    """What the database does not take keeps no other run out."""
    try:
        filled.added += add_entries(history, entries)
    except BenchrigError:
        raise
    except Exception as error:
        if len(entries) > 1:
            for entry in entries:
                _add(history, [entry], filled)
            return
        folder = entries[0].run["folder"]
        filled.refused.append(folder)
        filled.problems.append(f"the history does not take {folder}: {type(error).__name__}{told_by(error)}")


def rebuild(place: Place, below: Sequence[Path]) -> Filled:
    """Make the history anew from the folders below these: until the end the old one is as it was. In a file it is a fresh one,
    which then takes its place; on a server one transaction, which leaves the runs that other computers keep."""
    found(below)  # before anything is done: a place that is not there
    filled, taken = _fresh_file(place, place.file.resolve(), below) if place.file else _in_place(place, below)
    forget(taken, place)
    return filled


def _fresh_file(place: Place, file: Path, below: Sequence[Path]) -> tuple[Filled, list[Path]]:
    beside = file.with_name(f".{file.name}.{os.getpid()}.new")
    try:
        _remove(beside)
        with open_history(Place(place.shown, beside), make=True) as fresh, _held(place) as old:
            filled, taken = Filled(), list[Path]()
            # all that are there while nobody else writes
            for batch in _added(fresh, found(below), filled):
                taken += _taken(batch, filled)
            filled.gone = _gone(place, old, _ids(fresh))
            fresh.close()
            beside.replace(file)
    except OSError as error:
        if isinstance(error, BenchrigError):
            raise
        raise StationError(f"the history {place.shown} cannot be written: {error.strerror or error}") from error
    finally:
        with contextlib.suppress(OSError):
            _remove(beside)
    return filled, taken


def _gone(place: Place, old: Connection | None, now: set[str]) -> int:
    """How many runs of the history before are not in the new one; of one that is damaged nobody knows."""
    with contextlib.suppress(HistoryDamaged), plainly(place):
        return len(_ids(old) - now) if old else 0
    return 0


@contextlib.contextmanager
def _held(place: Place) -> Iterator[Connection | None]:
    """The history that is there, with nobody else writing to it: a run that ends meanwhile waits, and is delivered into the
    new one. None for one that is not there, or is damaged. What is no history, or one of a later benchrig, is left alone."""
    with contextlib.ExitStack() as stack:
        connection = None
        try:
            if place.file is not None and place.file.exists():
                connection = stack.enter_context(stack.enter_context(open_history(place, make=True)).writing())
        except HistoryDamaged:
            connection = None
        yield connection


def _remove(file: Path) -> None:
    for each in (file, file.with_name(f"{file.name}-journal")):
        each.unlink(missing_ok=True)


def _in_place(place: Place, below: Sequence[Path]) -> tuple[Filled, list[Path]]:
    filled, here = Filled(), node()
    with open_history(place, make=True) as history, history.writing() as connection:
        taken, before = list[Path](), _ids(connection, here)
        _clear(connection, here)
        for batch in all_loaded(found(below), history.stored_folder):
            filled.take(batch)
            filled.added += add_to(history, connection, [each.entry for each in batch if each.entry])
            taken += _taken(batch, filled)
        filled.gone = len(before - _ids(connection, here))
    return filled, taken


def _clear(connection: Connection, kept_on: str) -> None:
    kept = select(runs.c.run).where(runs.c.kept_on == kept_on)
    for table in (readings, steps, devices):
        connection.execute(delete(table).where(table.c.run.in_(kept)))
    connection.execute(delete(runs).where(runs.c.kept_on == kept_on))


def _ids(history: History | Connection, kept_on: str | None = None) -> set[str]:
    wanted = select(runs.c.run_id) if kept_on is None else select(runs.c.run_id).where(runs.c.kept_on == kept_on)
    if isinstance(history, Connection):
        return {*history.scalars(wanted)}
    with history.reading() as connection:
        return {*connection.scalars(wanted)}
