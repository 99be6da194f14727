"""Records into a history: each run once, whatever comes in which order."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from shutil import rmtree

import pytest
from msgspec.structs import replace
from sqlalchemy import func, select

from benchrig.history import filling
from benchrig.history.adding import Added, add_record
from benchrig.history.checking import check
from benchrig.history.delivery import Delivery
from benchrig.history.entry import Entry
from benchrig.history.filling import fill, rebuild
from benchrig.history.folders import found
from benchrig.history.opening import History, open_history
from benchrig.history.place import place_of
from benchrig.history.tables import channels, readings, runs
from benchrig.history.waiting import wait_for_history, waiting
from benchrig.record.journal import read_record
from tests.history.folders import end_of_line, write
from tests.history.postgres import cluster, needs_postgresql


@pytest.fixture
def history(tmp_path: Path) -> History:
    with open_history(tmp_path / "history.sqlite", make=True) as opened:
        yield opened


def count(history: History, table) -> int:
    with history.reading() as connection:
        return connection.scalar(select(func.count()).select_from(table))


def test_a_run_is_added_once(history: History, tmp_path: Path) -> None:
    folder = write(tmp_path / "one", end_of_line())
    added = add_record(history, read_record(folder), folder)
    again = add_record(history, read_record(folder), folder)
    assert (added.new, again.known) == (["one"], ["one"])
    assert (count(history, runs), count(history, readings)) == (1, count(history, channels))


def test_a_copy_is_the_same_run_and_another_record_with_its_id_is_not(history: History, tmp_path: Path) -> None:
    first, copy, other = (tmp_path / name for name in ("first", "copy", "other"))
    for folder, station in ((first, "a"), (copy, "a"), (other, "b")):
        write(folder, end_of_line(station=station))
    results = [add_record(history, read_record(folder), folder) for folder in (first, copy, other)]
    assert results[1].copies == [("copy", "first")]
    assert results[2].conflicts == [("other", "first")]
    assert count(history, runs) == 1


def test_a_complete_record_takes_the_place_of_one_that_was_cut_off(history: History, tmp_path: Path) -> None:
    folder = write(tmp_path / "run", end_of_line())
    lines = (folder / "record.jsonl").read_bytes().splitlines(keepends=True)
    (folder / "record.jsonl").write_bytes(b"".join(lines[:-5]))
    assert add_record(history, read_record(folder), folder).new == ["run"]
    (folder / "record.jsonl").write_bytes(b"".join(lines))
    assert add_record(history, read_record(folder), folder).completed == ["run"]
    assert count(history, readings) == count(history, channels)


def added(history: History, *folders: Path) -> Added:
    return fill(history, found(folders)).added


def kept_in(history: History) -> dict[str, str]:
    """Which folder the entry of each run names, by the serial number of its unit."""
    with history.reading() as connection:
        return dict(connection.execute(select(runs.c.serial, runs.c.folder)).all())


def test_folders_that_changed_names_keep_their_runs(history: History, tmp_path: Path) -> None:
    """Each entry follows its own record: a page that leads to the run of another unit would be believed."""
    one, two, aside = write(tmp_path / "one", end_of_line(1)), write(tmp_path / "two", end_of_line(2)), tmp_path / "x"
    added(history, tmp_path)
    one.rename(aside), two.rename(one), aside.rename(two)
    checked = check(history, [tmp_path])
    assert (checked.is_whole, checked.lost, checked.copies) == (False, ["one", "two"], [])
    assert added(history, tmp_path).moved == [("one", "two"), ("two", "one")]
    assert kept_in(history) == {"VF-000001": "two", "VF-000002": "one"}
    assert check(history, [tmp_path]).is_whole


def test_another_run_in_the_folder_of_one_that_is_gone_is_told(history: History, tmp_path: Path) -> None:
    folder = write(tmp_path / "run", end_of_line(1))
    added(history, folder)
    rmtree(folder)
    added(history, write(folder, end_of_line(2)))
    assert check(history, [tmp_path]).lost == ["run"]


def test_a_folder_has_one_name_whichever_links_lead_to_it(tmp_path: Path) -> None:
    """Two checkouts with one history, each by a link to it."""
    with open_history(tmp_path / "line.sqlite", make=True):
        pass
    for number, name in enumerate(("a", "b"), 1):
        write(tmp_path / name / "run", end_of_line(number))
        (tmp_path / name / "history.sqlite").symlink_to(tmp_path / "line.sqlite")
        with open_history(tmp_path / name / "history.sqlite") as history:
            added(history, tmp_path / name)
    (tmp_path / "link").symlink_to(tmp_path / "a")
    with open_history(tmp_path / "a" / "history.sqlite") as history:
        assert added(history, tmp_path / "link", tmp_path / "b" / ".." / "b").known == ["a/run", "b/run"]
        assert history.folder("b/run").is_dir()
    rebuild(place_of(str(tmp_path / "b" / "history.sqlite")), [tmp_path / "a", tmp_path / "b"])
    with open_history(tmp_path / "a" / "history.sqlite") as history:
        assert (tmp_path / "b" / "history.sqlite").is_symlink()
        assert check(history, [tmp_path / "a", tmp_path / "b"]).entries == 2


@pytest.mark.slow
@needs_postgresql
def test_what_another_computer_keeps_is_not_looked_for_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write(tmp_path / "there" / "run", end_of_line())
    with cluster() as server, open_history(server.url, make=True) as history:
        monkeypatch.setattr("platform.node", lambda: "there")
        added(history, folder)
        monkeypatch.undo()
        (tmp_path / "there").rename(tmp_path / "mounted")
        assert added(history, tmp_path / "mounted").copies == [(f"{tmp_path}/mounted/run", str(folder))]
        long = "".join(map(chr, range(0x4E00, 0x5600)))  # that no index of a server can hold
        run = end_of_line(2)
        run[:2] = [replace(run[0], plan=long, run_id=long), replace(run[1], serial=long)]
        run[3] = replace(run[3], name=long, judgement=replace(run[3].judgement, limit=long))
        assert added(history, write(tmp_path / "long", run)).new == [f"{tmp_path}/long"]


def test_one_that_a_database_does_not_take_keeps_no_other_out(
    history: History, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor does it stop the runs that come: it waits, and is named."""
    bad, good = write(tmp_path / "bad", end_of_line(1)), write(tmp_path / "good", end_of_line(2))
    whole = filling.add_entries

    def add(history: History, entries: Sequence[Entry]) -> Added:
        if any(entry.run["folder"] == "bad" for entry in entries):
            raise ArithmeticError("it is too odd\nand more")
        return whole(history, entries)

    monkeypatch.setattr(filling, "add_entries", add)
    for folder in (bad, good):
        wait_for_history(folder, history.place)
    filled = fill(history, [bad, good])
    assert filled.problems == ["the history does not take bad: ArithmeticError (it is too odd)"]
    assert (filled.added.new, waiting(tmp_path)) == (["good"], [bad])
    monkeypatch.setattr(filling, "all_loaded", lambda *_: 1 / 0)
    said = Delivery(history.place, bad).deliver()
    assert said == "this run waits for the history: ZeroDivisionError (division by zero)"
