"""A file gets to its place whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import StationError
from benchrig.files import write_whole


def test_a_file_is_whole_or_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def half(self: Path, data: bytes) -> int:
        with self.open("wb") as file:
            file.write(data[:3])
        raise OSError(28, "No space left on device")

    (tmp_path / "golden.json").write_text("{}")
    monkeypatch.setattr(Path, "write_bytes", half)
    for name in ("a.xml", "golden.json"):
        with pytest.raises(StationError, match="No space left"):
            write_whole(tmp_path / name, b"<testsuites/>")
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("golden.json", "{}")]


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("real.xml")
    write_whole(tmp_path / "link", b"x")
    assert ((tmp_path / "link").is_symlink(), (tmp_path / "real.xml").read_bytes()) == (True, b"x")
