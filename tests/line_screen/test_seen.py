"""Which question was read before a line was begun."""

from __future__ import annotations

import pytest

from benchrig.line_screen.seen import READ, Seen


@pytest.mark.parametrize(("after", "read"), [(0.0, 0), (READ - 0.01, 0), (READ, 4), (60.0, 4)])
def test_a_question_is_read_after_a_moment(after: float, read: int) -> None:
    seen = Seen()
    seen.drawn(4, 100.0)
    seen.begins(100.0 + after)
    assert seen.before_line == read


def test_another_question_has_to_be_read_anew() -> None:
    seen = Seen()
    for number, at in ((4, 100.0), (4, 101.0), (5, 101.1)):
        seen.drawn(number, at)
    assert (seen.at(101.2), seen.at(101.1 + READ)) == (0, 5)


def test_a_line_that_was_begun_before_stays_so() -> None:
    seen = Seen()
    seen.begins(99.0)
    seen.drawn(4, 99.5)
    assert (seen.before_line, seen.at(110.0)) == (0, 4)


def test_what_a_slow_terminal_has_not_shown_was_not_read() -> None:
    seen = Seen()
    seen.drawn(4, 100.0)
    seen.drawn(4, 100.5, late=True)
    assert (seen.at(100.0 + READ), seen.at(100.5 + READ)) == (0, 4)
    seen.drawn(4, 110.0, late=True)  # it was there before
    assert seen.at(110.0) == 4
