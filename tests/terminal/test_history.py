"""The lines of earlier sessions."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.terminal.history import KEPT, LineHistory, history_file


def lines(path: Path) -> list[str]:
    return list(LineHistory(path).load_history_strings())


def test_the_newest_comes_first_and_only_the_owner_reads_it(tmp_path: Path) -> None:
    path = tmp_path / "state" / "benchrig" / "history"
    history = LineHistory(path)
    history.store_string("read temperature")
    history.store_string("wait 2 s\nread humidity")
    assert lines(path) == ["read humidity", "wait 2 s", "read temperature"]
    assert (path.stat().st_mode & 0o777, path.parent.stat().st_mode & 0o777) == (0o600, 0o700)


def test_a_file_that_has_grown_is_cut(tmp_path: Path) -> None:
    path = tmp_path / "history"
    path.write_text("".join(f"wait {number} s\n" for number in range(3 * KEPT)), encoding="utf-8")
    assert (len(lines(path)), lines(path)[0]) == (KEPT, f"wait {3 * KEPT - 1} s")
    assert len(path.read_text(encoding="utf-8").splitlines()) == KEPT


def test_a_file_that_cannot_be_used_is_no_trouble(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    history = LineHistory(tmp_path / "file" / "history")
    history.store_string("read temperature")
    assert [*history.load_history_strings()] == []
    (tmp_path / "bytes").write_bytes(b"\xff\xfe\n")
    assert len(lines(tmp_path / "bytes")) == 1


def test_it_is_in_the_folder_for_state() -> None:
    # XDG Base Directory Specification 0.8: relative paths are ignored, the default is $HOME/.local/state
    assert history_file({}) is None
    assert history_file({"HOME": "", "XDG_STATE_HOME": "s"}) is None
    assert str(history_file({"LOCALAPPDATA": "C:\\Users\\me"})).startswith("C:\\Users\\me")
    assert history_file({"XDG_STATE_HOME": "/s"}) == Path("/s/benchrig/session_history")
    assert history_file({"HOME": "/h"}) == Path("/h/.local/state/benchrig/session_history")
    assert history_file({"HOME": "/h", "XDG_STATE_HOME": "s"}) == Path("/h/.local/state/benchrig/session_history")


def test_without_a_folder_of_the_user_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    history = LineHistory(history_file({}))
    history.store_string("write pin 1234")
    assert [*history.load_history_strings()] == []
    assert [*tmp_path.iterdir()] == []
