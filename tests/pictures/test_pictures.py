"""The pictures of README show what the commands do today; `python -m tests.pictures` makes them anew."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.pictures.making import PICTURES, TERMINALS, bench, hash_of, page, taken, terminal

STALE = "it is out of date: run python -m tests.pictures, and look at it"


@pytest.mark.slow
@pytest.mark.parametrize("file", TERMINALS)
def test_a_terminal_shows_what_the_command_does(file: str, tmp_path: Path) -> None:
    made = terminal(TERMINALS[file], bench(tmp_path))
    assert (PICTURES / file).read_text("utf-8") == made, STALE


@pytest.mark.slow
def test_the_page_is_the_one_that_was_taken(tmp_path: Path) -> None:
    assert taken() == {"page.png": hash_of(page(tmp_path / "line"))}, STALE
    assert (PICTURES / "page.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("file", TERMINALS)
def test_a_picture_fetches_nothing_and_says_that_it_is_simulated(file: str) -> None:
    text = (PICTURES / file).read_text("utf-8")
    root = ET.fromstring(text)
    assert not re.search(r"url\((?!#)|<script|href=\"http", text)
    assert "SIMULATED" in "".join(root.itertext())
