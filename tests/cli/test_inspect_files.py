"""The files of `benchrig inspect`: written whole or not at all, read within bounds, and compared as far as they go."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchrig.desk.comparing import compare
from benchrig.desk.inspection_file import MOST_BYTES, Document, load_document, save_document
from benchrig.errors import StationError, UsageError
from tests.cli.calling import call
from tests.desk.kit import inspected
from tests.run.kit import DEVICES, device_text

LOGGER = (DEVICES / "logger.yaml").read_text(encoding="utf-8")
MUTE = "firmware revision, properties: [read], value: 3.2.1"
SILENT = LOGGER.replace(MUTE, f"{MUTE}, on_read: {{silent: true}}")


def test_a_disk_that_is_full_leaves_the_golden_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    golden = tmp_path / "golden.json"
    document = Document(inspected(device_text()), [])
    save_document(document, golden)
    before = golden.read_bytes()

    def full(self: Path, *_: object, **__: object) -> int:
        self.touch()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(StationError, match="No space left"):
        save_document(document, golden)
    assert (golden.read_bytes(), [*tmp_path.iterdir()]) == (before, [golden])


def test_a_file_without_end_is_refused() -> None:
    with pytest.raises(UsageError, match=f"more than {MOST_BYTES // 1024} KiB"):
        load_document(Path("/dev/zero"))


@pytest.mark.parametrize("suffix", ["json", "yaml"])
def test_brackets_without_end_are_no_inspection(tmp_path: Path, suffix: str) -> None:
    (tmp_path / f"deep.{suffix}").write_text('{"inspection": ' + "[" * 50_000, encoding="utf-8")
    with pytest.raises(UsageError, match="is not an inspection"):
        load_document(tmp_path / f"deep.{suffix}")


def test_what_a_look_did_not_come_to_is_no_change() -> None:
    whole, broken = inspected(LOGGER), inspected(SILENT)
    assert broken.broken
    assert compare(broken, whole).same_structure
    assert compare(whole, broken).same_structure


def test_a_broken_look_says_how_much_was_not_read(tmp_path: Path) -> None:
    (tmp_path / "silent.yaml").write_text(SILENT, encoding="utf-8")
    radio = f"virtual:{tmp_path}/silent.yaml"
    broken = call("inspect", "--radio", radio)
    assert (broken.exit_code, "attributes not read: rules about values were not applied there" in broken.stdout) == (
        1,
        True,
    )
    skipped = call("inspect", "--skip", "firmware revision", "--json", "--radio", radio)
    assert skipped.exit_code == 0
    assert "left out, as it was asked for" in json.dumps(json.loads(skipped.stdout)["inspection"])
