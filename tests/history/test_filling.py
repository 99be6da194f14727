"""Folders into a history, a history made anew, and whether it says what the records say."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchrig.errors import StationError, UsageError
from benchrig.figures.capability import capability_figure
from benchrig.figures.chart import chart_figure
from benchrig.figures.drift import drift_of
from benchrig.figures.yields import yields_of
from benchrig.history import folders
from benchrig.history.checking import check
from benchrig.history.filling import fill, rebuild
from benchrig.history.folders import found
from benchrig.history.opening import History, open_history
from benchrig.history.place import place_of
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.values import all_values
from tests.cli.calling import call
from tests.history.contents import contents
from tests.history.folders import at_line, end_of_line, write
from tests.history.postgres import cluster, needs_postgresql

# Of one value there is no chart.
FIGURES = (capability_figure, chart_figure)


def results(place: Path, count: int = 6) -> Path:
    """Every third unit fails; values with digits that a sum in another order would show. Of each eight runs two are at no
    line, one checks the station, one is the retest of the first one at the line."""
    for n in range(count):
        run = end_of_line(n, values=[5 + n / 7, 6 + n / 11, 9.0 if n % 3 == 2 else 7 + n / 1000])
        purpose = ("", "unit", "golden", "unit", "", "retest", "unit", "known bad")[n % 8]
        said = {"purpose": purpose, "reference": "G1" * (purpose == "golden"), "first": "first" * (purpose == "retest")}
        write(place / f"run-{n:03}", at_line(run, slot=str(n % 3), **said) if purpose else run)
    return place


def _without_folders(told: Any) -> Any:
    """A file names folders from where it is, a server in full."""
    if isinstance(told, dict):
        return {key: _without_folders(each) for key, each in told.items() if not key.endswith("folder")}
    return [_without_folders(each) for each in told] if isinstance(told, list) else told


def figures(history: History) -> list[object]:
    """What questions answer, to the last digit."""
    made = [*yields_of(history, Filters(), ("slot", "purpose")), *drift_of(history, Filters(), none=True)]
    told: list[object] = [_without_folders(msgspec.to_builtins(each)) for each in made]
    for values in all_values(history, Filters()):
        told += [values.channel.label, values.value.tobytes(), values.started.tobytes(), values.high.tobytes()]
        told += [_without_folders(msgspec.to_builtins(make(values))) for make in FIGURES[: len(values)]]
    return told


def grow(where: object, places: Sequence[Path]) -> tuple[list[object], object]:
    """One run after the other, the latest first."""
    with open_history(str(where), make=True) as history:
        for place in reversed(places):
            fill(history, [place])
        return figures(history), contents(history)


def anew(where: object, below: Path) -> tuple[list[object], object]:
    rebuild(place_of(str(where)), [below])
    with open_history(str(where)) as history:
        return figures(history), contents(history)


def test_a_history_that_grew_and_one_that_was_rebuilt_are_the_same(tmp_path: Path) -> None:
    below = results(tmp_path / "results")
    grown = grow(tmp_path / "history.sqlite", found([below]))
    assert anew(tmp_path / "history.sqlite", below) == grown
    assert grown[0]
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["history.sqlite"]


@pytest.mark.slow
@needs_postgresql
def test_both_databases_answer_the_same_grown_and_rebuilt(tmp_path: Path) -> None:
    below = results(tmp_path / "results", 60)
    grown = grow(tmp_path / "history.sqlite", found([below]))
    with cluster() as server:
        assert grow(server.url, found([below])) == grown
        assert anew(server.url, below) == grown


def test_rebuilding_replaces_a_damaged_history(tmp_path: Path) -> None:
    below = results(tmp_path / "results")
    file = tmp_path / "history.sqlite"
    sound = grow(file, found([below]))
    file.write_bytes(b"SQLite format 3\0" + b"\xff" * 5000)
    with pytest.raises(StationError, match="cannot be used: it is"):
        open_history(file)
    assert anew(file, below) == sound


def test_what_is_not_found_again_is_counted(tmp_path: Path) -> None:
    below, file = results(tmp_path / "results"), tmp_path / "history.sqlite"
    grow(file, found([below]))
    shutil.rmtree(below / "run-001")
    assert rebuild(place_of(str(file)), [below]).gone == 1
    with pytest.raises(UsageError, match="there is no folder"):
        rebuild(place_of(str(file)), [tmp_path / "nothing"])


def test_check_names_what_differs(tmp_path: Path) -> None:
    below, file = results(tmp_path / "results"), tmp_path / "results" / "history.sqlite"
    grow(file, found([below]))
    shutil.rmtree(below / "run-000")
    shutil.copytree(below / "run-001", below / "copied")
    write(below / "new", end_of_line(100))
    write(below / "other", end_of_line(2, values=[1.0]))
    with (below / "run-003" / "record.jsonl").open("ab") as record:
        record.write(b'{"event":"note","at":9.5,"text":"added by hand"}\n')
    (below / "run-004" / "record.jsonl").write_bytes(b"no record\n")
    with open_history(file) as history:
        checked = check(history, [below])
        filled = fill(history, found([below]))
    assert checked.lost == ["run-000"]
    assert checked.copies == ["copied is a copy of run-001"]
    assert checked.missing == ["new"]
    assert checked.conflicts == ["other has the run id of run-002, and another record"]
    assert checked.changed == ["run-003"]
    assert [problem.rpartition("/")[2][:15] for problem in checked.damaged] == ["record.jsonl:1:"]
    assert not checked.is_whole
    assert (filled.added.new, [pair.folder for pair in filled.added.conflicts]) == (["new"], ["other", "run-003"])
    assert call("history", "add", below).stdout.endswith(": 0 runs added, 4 known, 1 copy, 2 in conflict, 1 damaged\n")


def test_a_sound_history_is_whole_also_when_it_was_moved_with_its_folders(tmp_path: Path) -> None:
    below = results(tmp_path / "results")
    grow(below / "history.sqlite", found([below]))
    moved = below.rename(tmp_path / "archive")
    with open_history(moved / "history.sqlite") as history:
        checked = check(history, [moved])
    assert (checked.is_whole, checked.entries, checked.records, checked.copies) == (True, 6, 6, [])


def test_records_outside_the_folders_are_told(tmp_path: Path) -> None:
    """As those of a gauge study are, which has a folder of its own."""
    below = results(tmp_path / "results", 2)
    write(tmp_path / "study" / "runs" / "one", end_of_line(7))
    grow(tmp_path / "history.sqlite", found([tmp_path]))
    told = call("history", "check", below, "--history", tmp_path / "history.sqlite")
    assert (told.exit_code, "entries and records say the same; 3 runs" in told.stdout) == (0, True)
    assert "outside the folders: 1 run in study/runs, with its record" in told.stdout


def test_a_folder_that_was_moved_takes_its_entry_along(tmp_path: Path) -> None:
    below = results(tmp_path / "results", 1)
    grow(tmp_path / "history.sqlite", found([below]))
    (below / "run-000").rename(tmp_path / "elsewhere")
    with open_history(tmp_path / "history.sqlite") as history:
        added = fill(history, [tmp_path / "elsewhere"]).added
        assert added.moved == [("elsewhere", "results/run-000")]
        assert check(history, [tmp_path]).is_whole


def test_one_station_name_on_two_computers_is_told(tmp_path: Path) -> None:
    for n, host in enumerate(("left", "right")):
        head, *rest = end_of_line(n)
        write(tmp_path / f"run-{n}", [msgspec.structs.replace(head, host=host), *rest])
    with open_history(tmp_path / "history.sqlite", make=True) as history:
        fill(history, found([tmp_path]))
        [note] = check(history, [tmp_path]).notes
    assert note == "the station 'line 1' has runs on 2 computers (left, right); name each station differently"


def test_of_two_records_with_one_id_the_first_folder_counts_however_many_processes_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    below = results(tmp_path / "results", 12)
    for n in range(12):
        write(below / f"z-{n:03}", end_of_line(n, values=[1.0]))
    monkeypatch.setattr(folders, "BATCH", 2)
    monkeypatch.setattr(folders, "cores", lambda: 3)
    filled = rebuild(place_of(str(tmp_path / "history.sqlite")), [below])
    assert filled.added.new == [f"results/run-{n:03}" for n in range(12)]
    assert filled.added.conflicts == [(f"results/z-{n:03}", f"results/run-{n:03}") for n in range(12)]
