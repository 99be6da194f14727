"""The index of a results folder: one line a run, whatever happens to the run, to others beside it, and to the disk."""

from __future__ import annotations

import csv
import threading
from pathlib import Path

import pytest
from msgspec.structs import replace

from benchrig.record.events import AnyEvent
from benchrig.record.journal import Journal
from benchrig.report import at_line
from benchrig.report.index import COLUMNS, INDEX, IndexLine
from tests.cli.kit import files, here
from tests.record.examples import FAILED_RUN, failed_run
from tests.reference import SECTIONS
from tests.test_launch import READ, run


def folder(results: Path, name: str, events: list[AnyEvent]) -> Path:
    """That of a run which left these events."""
    path = results / name
    path.mkdir()
    if events:
        with Journal(path / "record.jsonl") as journal:
            journal.write(*events)
    return path


def rows(results: Path) -> list[dict[str, str]]:
    with (results / INDEX).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_run_has_one_line_that_says_what_decided(tmp_path: Path) -> None:
    with IndexLine(folder(tmp_path, "one", [])) as line:
        line.write(failed_run())
    [row] = rows(tmp_path)
    assert row == {
        "run_id": "0d6f3c1e5a7b4f20a1b2c3d4e5f60718", "started": "2026-03-02T08:15:30.250Z", "given_serial": "",
        "serial": "VFL3-000123", "plan": "Fridge logger, end of line", "revision": "3", "station": "bench 2",
        "verdict": "fail", "cause": "limit", "folder": "one", "marks": "", "exit_code": "1",
        "message": "step 3 read temperature: fail (limit): 31.27 °C is above the maximum 30 °C by 1.27 °C",
        **dict.fromkeys(at_line.COLUMNS, ""),
    }  # fmt: skip
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == [INDEX]


def test_a_real_run_says_that_it_was_simulated(tmp_path: Path) -> None:
    done = run(files(tmp_path, READ), start=here)
    assert done.returncode == 0, done.stderr
    [row] = rows(tmp_path / "results")
    assert (row["verdict"], row["marks"], row["message"], row["exit_code"]) == ("pass", "SIMULATED", "", "0")
    assert (tmp_path / "results" / row["folder"] / "record.jsonl").is_file()


def test_the_next_run_writes_the_line_of_one_that_was_killed(tmp_path: Path) -> None:
    for name, until in (("before its first line", 0), ("in a step", 12), ("after its verdict", len(FAILED_RUN))):
        IndexLine(folder(tmp_path, name, FAILED_RUN[:until])).close()  # a lock goes with its process
    at_work = IndexLine(folder(tmp_path, "still at work", FAILED_RUN[:12]))
    with IndexLine(folder(tmp_path, "the next", [])) as line:
        line.write(failed_run())
    found = {row["folder"]: (row["verdict"], row["message"]) for row in rows(tmp_path)}
    assert found.keys() == {"before its first line", "in a step", "after its verdict", "the next"}
    assert found["in a step"] == ("cut off", "step 3 read temperature: cut off: the run died before its verdict")
    assert found["after its verdict"] == found["the next"]
    assert found["before its first line"][0] == "cut off"
    at_work.write(failed_run())
    assert len(rows(tmp_path)) == 5


def test_a_line_that_was_written_is_not_written_again(tmp_path: Path) -> None:
    """A process may die between the line and the end of its marker."""
    with IndexLine(folder(tmp_path, "one", FAILED_RUN)) as line:
        line.write(failed_run())
    (tmp_path / ".one.running").touch()
    IndexLine(folder(tmp_path, "two", FAILED_RUN)).close()
    assert [row["folder"] for row in rows(tmp_path)] == ["one"]
    assert not (tmp_path / ".one.running").exists()


def test_many_runs_at_once_have_a_line_each(tmp_path: Path) -> None:
    def work(number: int) -> None:
        for count in range(10):
            with IndexLine(folder(tmp_path, f"{number}-{count}", [])) as line:
                line.write(failed_run())
            assert line.trouble == ""

    threads = [threading.Thread(target=work, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(row["folder"] for row in rows(tmp_path)) == sorted(f"{n}-{c}" for n in range(8) for c in range(10))
    assert (tmp_path / INDEX).read_bytes().count(b"\n") == 81


def test_an_index_that_cannot_be_written_changes_no_exit_code(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    (tmp_path / "results" / INDEX).mkdir(parents=True)
    done = run(bench, start=here)
    assert done.returncode == 0
    assert f"{INDEX} cannot be written: Is a directory" in done.stderr


def test_a_line_that_a_full_disk_cut_short_spoils_no_other(tmp_path: Path) -> None:
    (tmp_path / INDEX).write_bytes(",".join(COLUMNS).encode() + b"\r\nhalf,a li")
    with IndexLine(folder(tmp_path, "one", [])) as line:
        line.write(failed_run())
    assert [row["folder"] for row in rows(tmp_path)] == [None, "one"]


@pytest.mark.parametrize("text", ["=1+1", "a\nb", 'a "b", c', "\x1b[2J", "x" * 9000])
def test_foreign_text_stays_in_its_cell(tmp_path: Path, text: str) -> None:
    record = failed_run()
    record.devices[""] = replace(record.devices[""], serial=text)
    with IndexLine(folder(tmp_path, "one", [])) as line:
        line.write(record)
    [row] = rows(tmp_path)
    assert (row["folder"], row["serial"].isprintable(), len(row["serial"]) < 5000) == ("one", True, True)
    assert not row["serial"].startswith("=")
    assert (tmp_path / INDEX).read_bytes().count(b"\n") == 2


def test_the_reference_has_its_columns() -> None:
    said = ", ".join(row["column"] for row in SECTIONS["The index of a results folder"].table("column"))
    assert said.replace("`", "") == ", ".join(COLUMNS)


def test_an_index_that_an_earlier_version_began_keeps_its_columns(tmp_path: Path) -> None:
    """Its first line names them: a row with more cells would be read as another one."""
    (tmp_path / INDEX).write_bytes((",".join(COLUMNS[:13]) + "\r\n").encode())
    with IndexLine(folder(tmp_path, "one", [])) as line:
        line.write(failed_run())
    [row] = rows(tmp_path)
    assert (list(row), row["exit_code"], row["folder"]) == ([*COLUMNS[:13]], "1", "one")
