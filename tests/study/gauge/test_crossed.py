"""The data of a gauge study: every cell is there as often as all others, or each that is not is named."""

from __future__ import annotations

import pytest

from benchrig.study.estimate import Unsuitable
from benchrig.study.gauge.crossed import crossed
from benchrig.study.gauge.rating import rating
from tests.study.gauge.data import UNITS, aiag_cells

PEOPLE = ["A", "B", "C"]


def test_a_missing_a_short_and_an_overfull_cell_are_named() -> None:
    cells = aiag_cells()
    del cells["P3", "B"]
    cells["P4", "C"].pop()
    cells["P9", "A"].append(1.0)
    cells["P1", "D"] = [1.0]
    cells["P2", "A"][0] = float("nan")
    with pytest.raises(Unsuitable) as raised:
        crossed(cells, UNITS, PEOPLE, 3)
    assert str(raised.value).split("; ") == [
        "unit P2, appraiser A: expected numbers, found a value that is not finite",
        "missing cell: unit P3, appraiser B: expected 3 values, found 0",
        "missing cell: unit P4, appraiser C: expected 3 values, found 2",
        "duplicate values: unit P9, appraiser A: expected 3 values, found 4",
        "unknown cell: unit P1, appraiser D",
    ]


def test_a_long_list_is_bounded() -> None:
    with pytest.raises(Unsuitable, match=r"and 20 more$"):
        crossed({}, UNITS, PEOPLE, 3)


@pytest.mark.parametrize(
    ("units", "people", "repeats", "says"),
    [
        (["P1"], PEOPLE, 3, "expected 2 units or more, found 1"),
        (UNITS, [], 3, "expected an appraiser, found none"),
        (["P1", "P2", "P1"], PEOPLE, 3, "duplicate name among the units: P1"),
        (UNITS, PEOPLE, 1, "expected 2 repeats or more, found 1"),
    ],
)
def test_a_design_that_shows_nothing(units: list[str], people: list[str], repeats: int, says: str) -> None:
    with pytest.raises(Unsuitable, match=says):
        crossed(aiag_cells(), units, people, repeats)


def test_ratings_have_their_ends() -> None:
    assert [rating(share) for share in (0.1, 0.100001, 0.3, 0.300001)] == [
        "acceptable", "conditionally acceptable", "conditionally acceptable", "not acceptable",
    ]  # fmt: skip
