"""The samples that stay of many: evenly spread, bounded in number and in size."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from benchrig.values.kept import Keeper


def kept(most: int, values: list[object]) -> Keeper:
    keeper = Keeper(most)
    for at, value in enumerate(values):
        keeper.add(float(at), value)
    return keeper


@given(st.integers(1, 40), st.integers(0, 600))
def test_they_are_spread_evenly_from_the_first_one_on(most: int, count: int) -> None:
    keeper = kept(most, [*range(count)])
    assert len(keeper.values) <= most
    assert keeper.left_out == count - len(keeper.values)
    assert keeper.times == [float(each) for each in keeper.values]
    assert keeper.values[:1] == [0][:count]
    if most > 1:
        assert keeper.values == [*range(0, count, keeper.every)]
        assert len(keeper.values) >= min(count, most // 2)


def test_long_texts_are_bounded_together() -> None:
    keeper = kept(10_000, ["x" * 4000] * 10_000)
    assert sum(map(len, keeper.values)) <= 1_000_000 + 4000
    assert len(keeper.values) > 100
    assert keeper.left_out == 10_000 - len(keeper.values)


def test_one_sample_that_is_too_long_by_itself_is_the_only_one() -> None:
    keeper = kept(100, ["x" * 2_000_000, *["y"] * 50])
    assert (len(keeper.values), keeper.left_out) == (1, 50)
