"""The shortest list that does it."""

from __future__ import annotations

import asyncio
import random

import pytest

from benchrig.requests.request import Reconnect, Send, Storm
from benchrig.requests.shrinking import amplified, first_that, joined, shrunk, tails


class Trials:
    """Does it with all of these items, in this order."""

    def __init__(self, *needed):
        self.needed, self.count = [*needed], 0

    async def __call__(self, items):
        self.count += 1
        left = iter(items)
        return all(each in left for each in self.needed)


@pytest.mark.parametrize("seed", range(20))
def test_what_is_needed_is_left(seed):
    rng = random.Random(seed)
    items = [*range(rng.randint(1, 60))]
    trials = Trials(*sorted(rng.sample(items, min(len(items), rng.randint(1, 3)))))
    assert asyncio.run(shrunk(items, trials)) == trials.needed
    assert trials.count < 150


def test_one_of_many_is_found_with_few_trials():
    trials = Trials(37)
    assert asyncio.run(shrunk([*range(200)], trials)) == [37]
    assert trials.count < 40


def test_it_ends_early_with_what_was_found_so_far():
    trials = Trials(3, 90)
    found = asyncio.run(shrunk([*range(100)], trials, lambda: trials.count < 6))
    assert {3, 90} <= {*found}
    assert trials.count <= 6


def test_the_last_ones_are_tried_first():
    assert [len(tail) for tail in tails([*range(100)])] == [1, 4, 16, 64, 100]
    assert [*tails([7])] == [[7]]
    trials = Trials(97, 98)
    assert asyncio.run(first_that(tails([*range(100)]), trials)) == [96, 97, 98, 99]
    assert asyncio.run(first_that(tails([*range(100)]), Trials(100))) == []


def test_reconnections_in_a_row_are_one():
    read = Send(b"\x0a\1\0")
    assert joined([Reconnect(1), Reconnect(3), read, Reconnect(1)]) == [Reconnect(4), read, Reconnect(1)]


def test_what_is_done_several_times_is_tried_more_often():
    off = Send(b"\x12\x0d\x00\x00\x00")
    found = [*amplified([off, Reconnect(1), Storm(0x10, 3), off, Send(b"\x12\x0d\x00\x00")])]
    assert found == [Reconnect(20), Storm(0x0D, 100), Storm(0x10, 100)]
    assert [*amplified([Send(b"\x0a\1\0")])] == []
