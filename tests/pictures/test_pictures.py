"""The pictures of README show what the commands do today; `python -m tests.pictures` makes them anew."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.pictures.pages import PAGES, is_stale, mark_of_picture, marks, page_of, taken
from tests.pictures.place import PICTURES
from tests.pictures.rehearsal import rehearsed
from tests.pictures.terminals import TERMINALS

STALE = "it is out of date: run python -m tests.pictures, and look at it"


@pytest.mark.slow
@pytest.mark.parametrize("file", TERMINALS)
def test_a_terminal_shows_what_the_command_does(file: str, tmp_path: Path) -> None:
    assert (PICTURES / file).read_text("utf-8") == TERMINALS[file](tmp_path), STALE


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_the_pages_are_those_that_were_taken(tmp_path: Path) -> None:
    results, before = rehearsed(tmp_path / "line"), taken()
    assert [*before] == [*PAGES]
    now = {file: marks(page_of(file, results).read_text("utf-8")) for file in PAGES}
    assert [file for file in PAGES if is_stale(before[file], now[file])] == [], STALE


@pytest.mark.parametrize("file", PAGES)
def test_a_picture_of_a_page_is_the_one_that_was_taken(file: str) -> None:
    assert (PICTURES / file).read_bytes().startswith(b"\x89PNG")
    assert mark_of_picture(file) == taken()[file]["picture"], STALE


@pytest.mark.parametrize(
    ("page", "version", "stale"),
    [
        ('<p>9 of 10</p><svg aria-label="a &gt; b" class="plot"><path d="M 1 1"/></svg>', "3.11", False),
        ('<p>9 of 10</p><svg aria-label="a &gt; b" class="plot"><path d="M 1 2"/></svg>', "3.11", True),
        ('<p>9 of 10</p><svg aria-label="a &gt; b" class="plot"><path d="M 1 2"/></svg>', "3.12", False),
        ('<p>8 of 10</p><svg aria-label="a &gt; b" class="plot"><path d="M 1 1"/></svg>', "3.12", True),
    ],
)
def test_a_change_within_a_plot_makes_a_picture_stale(page: str, version: str, stale: bool) -> None:
    before = marks('<p>9 of 10</p><svg aria-label="a &gt; b" class="plot"><path d="M 1 1"/></svg>')
    assert is_stale(before | {"matplotlib": "3.11"}, marks(page) | {"matplotlib": version}) is stale


@pytest.mark.parametrize("file", TERMINALS)
def test_a_picture_fetches_nothing_and_says_that_it_is_simulated(file: str) -> None:
    text = (PICTURES / file).read_text("utf-8")
    root = ET.fromstring(text)
    assert not re.search(r"url\((?!#)|<script|href=\"http", text)
    assert "SIMULATED" in "".join(root.itertext())
