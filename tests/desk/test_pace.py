"""How often something comes."""

from __future__ import annotations

from benchrig.desk.pace import LOOK_BACK, Pace


def paced(*times: float, kept: int = 128) -> Pace:
    pace = Pace(kept)
    for at in times:
        pace.add(at)
    return pace


def test_the_rate_is_that_of_the_gaps() -> None:
    assert paced(1.0, 1.5, 2.0, 2.5).rate(2.6) == 2.0


def test_one_time_has_no_rate_and_no_gap() -> None:
    assert (paced(1.0).rate(1.0), paced(1.0).gap(), paced().rate(1.0)) == (None, None, None)


def test_what_is_long_past_does_not_count() -> None:
    assert paced(1.0, 2.0).rate(2.0 + LOOK_BACK) is None
    assert paced(1.0, 99.0, 99.5).rate(100.0) == 2.0


def test_only_the_newest_are_kept() -> None:
    assert paced(1.0, 2.0, 3.0, 3.1, 3.2, kept=3).rate(3.2) == 2 / (3.2 - 3.0)


def test_after_a_restart_there_is_no_gap() -> None:
    pace = paced(1.0, 2.0)
    assert pace.gap() == 1.0
    pace.restart()
    pace.add(9.0)
    assert pace.gap() is None
