"""A long answer that a record has joined, cut again so that the plan joins it to the same."""

from __future__ import annotations

import pytest

from benchrig.replay.pieces import pieces_of
from benchrig.steps.answers import Answers, Joining, Last
from benchrig.steps.size import Size


@pytest.mark.parametrize("size", [0, 1, 19, 20, 57, 300])
@pytest.mark.parametrize(
    ("answers", "count"),
    [
        (Answers(Last(starts_with="FF"), skip=1), 3),
        (Answers(Last(starts_with="FF 01"), skip=2), None),
        (Answers(Last(equals="AA"), skip=0), None),
        (Answers(Last(count=4), skip=2, counter=1), 4),
        (Answers(Last(shorter_than=Size.from_source(20)), skip=1), None),
    ],
)
def test_the_plan_joins_them_to_the_same(answers: Answers, count: int | None, size: int) -> None:
    value = bytes(number % 100 for number in range(size))
    joining = Joining(answers, 20)
    for piece in pieces_of(value, answers, count, b"\x07"):
        assert not joining.complete.is_set()
        joining.take(0.0, piece)
    assert joining.complete.is_set()
    assert (joining.error, bytes(joining.value)) == (None, value)
