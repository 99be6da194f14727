"""`benchrig page`: which page, where to, and what is never written over."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.pages.whole_set import BEGINS
from tests.cli.calling import call
from tests.history.folders import end_of_line, write
from tests.history.questions.kit import entry
from tests.pages.kit import a_line, line, undrawn

__all__ = ["undrawn"]
pytestmark = pytest.mark.usefixtures("undrawn")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    with a_line(tmp_path, [*line(4), entry(50, unit="../A B", readings={"scan.rssi": 5.0})]):
        return tmp_path / "history.sqlite"


def test_of_a_set_and_of_a_unit(file: Path) -> None:
    assert call("page", "--history", file).stdout == f"page: {file.parent / 'runs.html'}\n"
    assert call("page", "--history", file, "--unit", "../A B").stdout == f"page: {file.parent / 'unit_.._A_B.html'}\n"
    assert "<h1>Unit ../A B</h1>" in (file.parent / "unit_.._A_B.html").read_text("utf-8")
    out = file.parent / "x" / "y.html"
    assert call("page", "--history", file, "--unit", "VF-1", "--plan", "end of line", "-o", out).exit_code == 0
    assert "<h1>Runs of end of line</h1>" in out.read_text("utf-8")
    assert call("page", "--history", file, "-o", out).exit_code == 0


def test_nothing_else_is_written_over(file: Path) -> None:
    plan = file.parent / "plan.yaml"
    plan.write_text("name: x", "utf-8")
    result = call("page", "--history", file, "-o", plan)
    assert (result.exit_code, plan.read_text("utf-8")) == (4, "name: x")
    assert "not an earlier report" in result.stderr


def test_what_has_no_page_leaves_the_earlier_one(file: Path) -> None:
    out = file.parent / "runs.html"
    out.write_bytes(BEGINS)
    for words in ("--verdict", "fail"), ("--plan", "unknown"), ("--simulated",), ("--unit", "Z"):
        assert call("page", "--history", file, *words, "-o", out).exit_code == 4
        assert out.read_bytes() == BEGINS


def test_of_one_run(tmp_path: Path) -> None:
    """From its record alone; another file than an earlier page of a run stays."""
    run = write(tmp_path / "run", end_of_line(1, values=(5.0, 9.0)))
    assert call("page", run).stdout == f"page: {run / 'report.html'}\n"
    made = (run / "report.html").read_bytes()
    assert b"<h1" in made
    out = tmp_path / "x.html"
    assert call("page", run / "record.jsonl", "-o", out).exit_code == 0
    assert out.read_bytes() == made
    out.write_bytes(BEGINS)
    assert call("page", run, "-o", out).exit_code == 4
    assert call("page", run, "--simulated").exit_code == 4
    assert call("page", tmp_path).exit_code == 4
