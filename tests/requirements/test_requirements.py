"""Every requirement on its sound unit and on the twin with the fault that it is there to find."""

from __future__ import annotations

import pytest

from tests.requirements import ALL
from tests.requirements.kit import Requirement

ids = {"ids": lambda one: one.name}
AIRS = ["kind", pytest.param("rough", marks=pytest.mark.slow)]


@pytest.mark.parametrize("air", AIRS)
@pytest.mark.parametrize("one", ALL, **ids)
def test_the_sound_unit_passes(one: Requirement, air: str) -> None:
    ran = one.run(one.sound, air=air)
    assert (ran.ended.verdict, ran.ended.exit_code) == ("pass", 0), ran.ended.message
    assert (ran.tasks_left, ran.stray) == (0, [])


@pytest.mark.parametrize("air", AIRS)
@pytest.mark.parametrize("one", ALL, **ids)
def test_the_twin_fails_where_it_is_broken(one: Requirement, air: str) -> None:
    ended = (ran := one.run(one.twin, air=air)).ended
    root = next((one.planned.name for one in ran.record.executions if one.where == ended.root), None)
    assert (root, ended.cause, ended.exit_code) == (one.fails, one.cause, 1), ended.message
    assert one.says in ended.message
    left = {step.planned.name for step in ran.record.steps if step.ended and step.ended.verdict == "skip"}
    assert left >= {*one.left}


def test_there_are_thirty_and_ten_of_them_are_for_every_radio() -> None:
    assert len({one.name for one in ALL}) == len(ALL) >= 30
    assert sum(one.everywhere for one in ALL) >= 10
