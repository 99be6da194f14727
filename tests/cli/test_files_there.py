"""A command writes over a file that is there with --force only, and says so before it does anything."""

from __future__ import annotations

import pytest

from tests.cli.calling import call
from tests.run.kit import DEVICES

RADIO = ("--radio", f"virtual:{DEVICES / 'logger.yaml'}")
WRITERS = [
    (("encode", "21.5 °C", "--as", "temperature", "--out"), "a.bin"),
    (("inspect", *RADIO, "--save"), "a.json"),
    (("watch", "temperature", "--count", "1", *RADIO, "--save"), "a.csv"),
    (("draft", *RADIO, "-o"), "a.yaml"),
    (("twin", *RADIO, "-o"), "a.yaml"),
]


@pytest.mark.parametrize(("words", "name"), WRITERS)
def test_a_file_that_is_there(words, name, tmp_path):
    path = tmp_path / name
    path.write_text("precious")
    refused = call(*words, path)
    assert (refused.exit_code, path.read_text()) == (4, "precious")
    assert refused.stderr == (
        f"benchrig: '{path}' already exists\n  choose another name, or write over it with --force\n"
    )
    assert call(*words, path, "--force").exit_code == 0
    assert path.read_bytes() != b"precious"


@pytest.mark.parametrize(("words", "name"), WRITERS)
def test_where_no_file_can_be(words, name, tmp_path):
    (tmp_path / name).mkdir()
    assert "is a folder" in call(*words, tmp_path / name, "--force").stderr
    refused = call(*words, tmp_path / "none" / name)
    assert (refused.exit_code, "there is no folder" in refused.stderr) == (4, True)
