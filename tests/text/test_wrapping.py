"""Lines for a person at a terminal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.text.wrapping import wrapped


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("short enough", ["short enough"]),
        ("one two three four five six", ["one two three four", "five six"]),
        ("write A  --as FORMAT, --unit UNIT", ["write A  --as", "         FORMAT,", "         --unit UNIT"]),
        ("  a blank before every line of it", ["  a blank before", "  every line of it"]),
        ("\nCAUTION  It moves or heats.\n", ["", "CAUTION  It moves or", "         heats.", ""]),
        ("a name that is rather  long before it", ["a name that is", "  rather  long", "  before it"]),
    ],
)
def test_lines_are_broken_between_words(text: str, lines: list[str]) -> None:
    assert wrapped(text, 20).split("\n") == lines


@given(st.text(alphabet="ab \n", max_size=200), st.integers(20, 60))
def test_no_line_is_longer_and_no_word_is_lost(text: str, width: int) -> None:
    shown = wrapped(text, width)
    assert all(len(line) <= width or not line.strip() for line in shown.split("\n"))
    assert "".join(shown.split()) == "".join(text.split())
