"""Very large words: the same width in all rows, told apart by shape alone, in every size."""

from __future__ import annotations

import itertools

import pytest

from benchrig.line_screen.layout import REHEARSAL
from benchrig.line_screen.letters import SIGNS, SIZES, SMALL, Size, large

ALL = (*SIZES[-3:], Size(2, 2), SMALL)
WORDS = (*(f"{sign}{word}" for word, sign in SIGNS.items()), REHEARSAL, "!LOCKED", "!STOPPED", "SCAN")


@pytest.mark.parametrize("ascii_only", [False, True])
@pytest.mark.parametrize("size", ALL)
@pytest.mark.parametrize("word", WORDS)
def test_a_word_is_a_rectangle_of_the_size_that_is_promised(word: str, size: Size, *, ascii_only: bool) -> None:
    rows = large(word, size, ascii_only=ascii_only)
    assert {len(row) for row in rows} == {size.cells(len(word))}
    assert len(rows) == size.rows
    assert all(row.isascii() for row in rows) == ascii_only


@pytest.mark.parametrize("size", ALL)
@pytest.mark.parametrize("ascii_only", [False, True])
def test_no_letter_looks_like_another(size: Size, *, ascii_only: bool) -> None:
    letters = sorted({letter for word in WORDS for letter in word})
    for one, other in itertools.combinations(letters, 2):
        assert large(one, size, ascii_only=ascii_only) != large(other, size, ascii_only=ascii_only), (one, other)


def test_sizes_begin_with_the_largest() -> None:
    assert [size.high for size in SIZES] == sorted((size.high for size in SIZES), reverse=True)
    assert SIZES[-1] == Size(1, 1)
