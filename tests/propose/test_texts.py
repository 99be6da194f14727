"""Patterns for texts and for names of devices."""

from __future__ import annotations

import fnmatch
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.draft.selecting import glob_of
from benchrig.propose.texts import pattern_of


@pytest.mark.parametrize(
    ("texts", "pattern"),
    [
        (["VFL3-000042"], r"VFL3-\d{6}"),
        (["VFL3-000042", "VFL3-000043"], r"VFL3-\d{6}"),
        (["SN0042", "SN7"], r"SN\d{1,4}"),
        (["A7K-19B", "A7K-2CC"], r"A7K-[0-9A-Z]{3}"),
        (["1.2.3", "1.2.4"], r"1\.2\.\d"),
        (["1.2.3", "1.2.10"], r"1\.2\.\d{1,2}"),
        (["plain"], "plain"),
        (["a(b)"], r"a\(b\)"),
        (["up", "down"], "[a-z]{2,4}"),
        (["", "x1"], "[0-9A-Za-z]{0,2}"),
        (["a-b", "a_b"], r"[\s\S]{3}"),
        (["unit ä1", "unit ä2"], r"unit ä\d"),
        ([""], ""),
    ],
)
def test_patterns(texts, pattern):
    assert pattern_of(texts) == pattern


@given(st.lists(st.text(max_size=10) | st.text("aB1-. ", max_size=10), min_size=1, max_size=4))
def test_all_texts_match_their_pattern(texts):
    assert all(re.fullmatch(pattern_of(texts), text) for text in texts)


@pytest.mark.parametrize(
    ("names", "glob"),
    [
        (["VFL-0042"], "VFL-*"),
        (["Thermo"], "Thermo"),
        (["Shelf-001", "Shelf-012"], "Shelf-*"),
        (["100", "101"], "10*"),
        (["one", "two"], ""),
        (["a*[1]x", "a*[2]x"], "a[*][[]*"),
        (["42"], "42"),
    ],
)
def test_names_of_devices(names, glob):
    assert glob_of(names) == glob


@given(st.lists(st.text(min_size=1, max_size=8) | st.text("a*?[]1", min_size=1, max_size=8), min_size=1, max_size=3))
def test_all_names_fit_their_pattern(names):
    pattern = glob_of(names)
    assert not pattern or all(fnmatch.fnmatchcase(name, pattern) for name in names)
