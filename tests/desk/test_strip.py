"""A number over time."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.desk.strip import KEPT_SLICES, SLICE, Strip


def of(*points: tuple[float, float | None]) -> Strip:
    strip = Strip()
    for at, value in points:
        if value is None:
            strip.end(at)
        else:
            strip.add(at, value)
    return strip


def test_a_column_is_the_mean_of_what_came_in_it() -> None:
    assert of((1.01, 2), (1.05, 4), (1.12, 9)).columns(1.15, 2) == [3, 9]
    assert of((1.01, 2), (1.05, 4), (1.12, 9)).columns(1.15, 1, 2) == [5]


def test_a_value_holds_until_the_next_one() -> None:
    assert of((1.05, 2), (1.35, 4)).columns(1.55, 7) == [None, 2, 2, 2, 4, 4, 4]


def test_the_value_before_the_window_holds_in_it() -> None:
    assert of((1.05, 2), (5.05, 4)).columns(5.05, 3) == [2, 2, 4]


def test_a_hole_is_empty() -> None:
    assert of((1.05, 2), (1.25, None), (1.55, 3)).columns(1.65, 7) == [2, 2, 2, None, None, 3, 3]
    assert of((1.01, 2), (1.02, None)).columns(1.25, 3) == [2, None, None]


@given(st.lists(st.floats(0, 100), max_size=50), st.integers(0, 40), st.integers(1, 20), st.floats(0, 120))
def test_there_are_as_many_columns_as_wanted(times: list[float], count: int, slices: int, now: float) -> None:
    strip = of(*((at, 1.0) for at in sorted(times)))
    columns = strip.columns(now, count, slices)
    assert len(columns) == count
    assert set(columns) <= {None, 1.0}


@pytest.mark.parametrize("slices", [1, 10])
def test_old_slices_are_forgotten(slices: int) -> None:
    strip = of(*(((number + 0.5) * SLICE, 1.0) for number in range(KEPT_SLICES + 100)))
    columns = strip.columns((KEPT_SLICES + 100) * SLICE, (KEPT_SLICES + 100) // slices, slices)
    assert columns[-1] == 1.0
    assert columns[0] is None
