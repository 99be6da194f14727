"""Folders of runs: found below others, read, on all cores where there are many."""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec

from benchrig.errors import UsageError
from benchrig.history.entry import Entry, bounded, entry_of
from benchrig.record.journal import RECORD, record_in
from benchrig.report.index import is_running
from benchrig.workers import Lost, cores, done

# Records that a process reads at a time: as many as come into the history in one transaction.
BATCH = 250
# With fewer batches a second process costs more than it saves.
_FEW = 4


@dataclass(frozen=True)
class Loaded:
    """What a folder holds: an entry, or why there is none. One whose run goes on has neither."""

    folder: Path
    entry: Entry | None = None
    problem: str = ""
    running: bool = False


class _Head(msgspec.Struct):
    run_id: str


_head = msgspec.json.Decoder(_Head)


def has_record_of(folder: Path, run_id: str) -> bool:
    """Whether the record of this run is in the folder, and not that of another one."""
    try:
        with (folder / RECORD).open("rb") as record:
            return bounded(_head.decode(record.readline()).run_id) == run_id
    except (OSError, msgspec.DecodeError):
        return False


def found(places: Sequence[Path]) -> list[Path]:
    """The folders with a record at or below these places, each once, in the order of their names. UsageError for a place that
    is not there."""
    folders: dict[str, Path] = {}
    for place in places:
        if not place.exists():
            raise UsageError(
                f"there is no folder '{place}'", advice="name the folder of a run, or one with such folders"
            )
        for folder in _below(place.parent if place.name == RECORD else place):
            folders.setdefault(os.path.realpath(folder), folder)
    return [*folders.values()]


def _below(place: Path) -> Iterator[Path]:
    if (place / RECORD).is_file():
        yield place
        return
    try:
        with os.scandir(place) as entries:
            names = sorted(each.name for each in entries if each.is_dir(follow_symlinks=False))
    except OSError as error:
        raise UsageError(f"the folder '{place}' cannot be read: {error.strerror or error}") from error
    for name in names:
        if not name.startswith("."):
            yield from _below(place / name)


def loaded(folder: Path, stored: Callable[[Path], str]) -> Loaded:
    """`stored` says how the history names a folder. A run that goes on is left alone."""
    if is_running(folder):
        return Loaded(folder, running=True)
    path = folder / RECORD
    try:
        data = path.read_bytes()
        return Loaded(folder, entry_of(record_in(io.BytesIO(data), path), data, stored(folder)))
    except OSError as error:
        return Loaded(folder, problem=f"the record {path} cannot be read: {error.strerror or error}")
    except UsageError as error:
        return Loaded(folder, problem=error.message)


def all_loaded(folders: Sequence[Path], stored: Callable[[Path], str]) -> Iterator[list[Loaded]]:
    """In batches, in the order of the folders: where two records have one run id, the first one counts."""
    batches = [folders[at : at + BATCH] for at in range(0, len(folders), BATCH)]

    def load(number: int) -> list[Loaded]:
        return [loaded(folder, stored) for folder in batches[number]]

    if len(batches) < _FEW or cores() == 1:
        yield from map(load, range(len(batches)))
        return
    early: dict[int, list[Loaded] | Lost] = {}
    expected = 0
    for number, came in done(load, len(batches), cores()):
        early[number] = came
        while expected in early:
            batch = early.pop(expected)
            # what a process could not do is done here, where its error is seen
            yield load(expected) if isinstance(batch, Lost) else batch
            expected += 1
