"""A little of the search in every suite, a few thousand in the slow one."""

from __future__ import annotations

import random

import pytest

from tests.fuzz import mutate
from tests.fuzz.trying import CODES, try_many


@pytest.mark.parametrize("seed", range(4))
def test_a_few(seed):
    assert try_many(40, seed).bad == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 104))
def test_some_thousands(seed):
    tried = try_many(1000, seed)
    assert tried.bad == []
    kinds = {"plan", "device file", "station file", "limit set", "command", "line", "label"}
    assert {kind for kind, _ in tried.ends} == kinds


def test_the_search_can_find_something():
    assert 3 not in CODES
    assert mutate.text(random.Random(1), "a: 1\nb: 2") != "a: 1\nb: 2"
