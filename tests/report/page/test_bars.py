"""Where a reading lies against its limits: a value that passes is drawn inside, one that fails outside."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from benchrig.report.page.bars import Measured, bar
from benchrig.values.judging import Judgement

numbers = st.floats(-1e12, 1e12)


def judgement(low: Any, high: Any, *, passed: bool, **more: Any) -> Judgement:
    return Judgement(passed, "a limit", "…", low, high, **more)


def drawn(value: float, low: Any, high: Any, *, least: float | None = None, **more: Any) -> Any:
    passed = (low is None or value >= low) and (high is None or value <= high)
    measured = Measured(value if least is None else least, value, value)
    return bar(measured, judgement(low, high, passed=passed, **more), "what it says")


def at(picture: Any, class_: str, name: str) -> list[float]:
    return [float(shape.get(name)) for shape in picture if class_ in shape.get("class", "").split()]


@pytest.mark.parametrize("value", [15, 20, 30])
def test_what_passes_is_in_the_band(value: float) -> None:
    picture = drawn(value, 15, 30)
    [left], [width], [x] = at(picture, "passes", "x"), at(picture, "passes", "width"), at(picture, "point", "cx")
    assert left - 0.01 <= x <= left + width + 0.01
    assert at(picture, "good", "cx") == [x]
    assert picture.get("aria-label") == "what it says"


@given(numbers, numbers, numbers)
def test_what_fails_is_outside_the_band(value: float, low: float, span: float) -> None:
    high = low + abs(span)
    assume(high - low > 1e-6 * max(abs(low), abs(high), 1e-3))
    assume(not low <= value <= high)
    assume(min(abs(value - low), abs(value - high)) > 1e-2 * (high - low))
    picture = drawn(value, low, high)
    [left], [width], [x] = at(picture, "passes", "x"), at(picture, "passes", "width"), at(picture, "point", "cx")
    assert x < left or x > left + width
    assert 0 <= x <= 240
    assert at(picture, "bad", "cx") == [x]


def test_a_limit_of_one_side_reaches_to_the_end() -> None:
    above, below = drawn(10, 5, None), drawn(10, None, 5)
    [left], [width] = at(above, "passes", "x"), at(above, "passes", "width")
    assert left > 0
    assert left + width == pytest.approx(240)
    assert at(below, "passes", "x") == [0]
    [end] = at(below, "passes", "width")
    assert end < at(below, "point", "cx")[0]


def test_one_that_is_far_away_leaves_the_limits_to_be_seen() -> None:
    picture = drawn(1e9, 15, 30)
    [low, high] = at(picture, "limit", "x1")
    assert high - low > 50
    assert at(picture, "point", "cx")[0] > high + 20


def test_a_guard_band_shows_both_limits() -> None:
    picture = drawn(29.9, 15.2, 29.8, stated_low=15, stated_high=30, guard="ISO 14253-1, U 0.2 °C")
    [outer, inner], [inner_high, outer_high] = (
        sorted([*at(picture, "stated", "x1")[:1], *at(picture, "limit", "x1")[:1]]),
        sorted([*at(picture, "limit", "x1")[1:], *at(picture, "stated", "x1")[1:]]),
    )
    assert outer < inner < inner_high < at(picture, "point", "cx")[0] < outer_high


def test_many_values_are_a_range() -> None:
    picture = drawn(31, 15, 30, least=16)
    [x], [width] = at(picture, "range", "x"), at(picture, "range", "width")
    assert at(picture, "limit", "x1")[0] < x
    assert x + width > at(picture, "limit", "x1")[1]


@pytest.mark.parametrize(
    ("value", "low", "high"), [(1, None, None), (float("nan"), 1, 2), (1, "a", "b"), (float("inf"), 1, 2)]
)
def test_what_has_no_numbers_has_no_bar(value: float, low: Any, high: Any) -> None:
    assert (
        drawn(value, low, high) is None
        if low != "a"
        else bar(Measured(1, 1, 1), judgement("a", "b", passed=True), "") is None
    )


@given(st.floats(allow_nan=True), st.none() | st.floats(), st.none() | st.floats())
def test_no_number_breaks_it(value: float, low: float | None, high: float | None) -> None:
    bar(Measured(value, value, value), judgement(low, high, passed=True), "x")
