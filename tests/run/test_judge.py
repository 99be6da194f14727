"""The judge alone: no bench, no radio, no loop."""

from __future__ import annotations

import pytest

from benchrig.run.judge import Judge
from benchrig.source.shape import Misfit
from benchrig.steps.base import ReadingType
from benchrig.values.limit import Limit
from benchrig.values.value import Word


def judge(limit: Limit, declared: ReadingType | None = None) -> Judge:
    types = {"level": declared} if declared else None
    return Judge({"level": limit}, types, lambda name: f"plan.yaml:{len(name)}")


def test_a_reading_without_a_limit_has_no_judgement() -> None:
    assert judge(Limit(max=3)).judge("other", 5) is None


def test_a_value_is_held_against_its_limit() -> None:
    judged = judge(Limit(max="3 V")).judge("level", 4, "V")
    assert judged is not None
    assert (judged.passed, judged.margin, judged.place) == (False, -1, "plan.yaml:5")
    assert judged.sentence == "4 V is above the maximum 3 V by 1 V"


def test_without_a_value_the_limit_is_told_as_it_would_have_been() -> None:
    judged = judge(Limit(max="3 V"), ReadingType("number", "V")).judge("level", None, "V", "nothing came")
    assert judged is not None
    assert (judged.passed, judged.limit, judged.high) == (False, "max 3 V", 3)
    assert judged.sentence == "there is no value: nothing came"


def test_without_a_value_or_a_kind_the_limit_is_told_as_it_is_written() -> None:
    judged = judge(Limit(max="1 W", lacks="E")).judge("level", None, "", "nothing came")
    assert judged is not None
    assert (judged.passed, judged.limit) == (False, "max 1 W and lacks 'E'")
    running = judge(Limit(lacks="ASSERT")).running("level")
    assert running is not None
    assert (running.empty().limit, running.whole(0, [None]).limit) == ("lacks 'ASSERT'", "lacks 'ASSERT'")


def test_a_limit_that_does_not_apply_is_a_misfit() -> None:
    with pytest.raises(Misfit):
        judge(Limit(max="3 V")).judge("level", 4, "A")


def test_a_reading_that_the_step_did_not_give_fails_its_limit() -> None:
    judged = judge(Limit(max=3)).missing("level")
    assert (judged.passed, judged.sentence) == (False, "the step gave no reading 'level'")


def test_of_a_stream_the_first_sample_outside_is_told() -> None:
    running = judge(Limit(max=3)).running("level")
    assert running is not None
    for index, value in enumerate([1, 5, 2, 9]):
        if not running.passes(value) and running.first is None:
            running.keep(index, index * 0.5, value, None)
    broken = running.broken(4, [1, 9])
    assert broken == running.whole(4, [1, 9])
    assert broken is not None
    assert (broken.passed, broken.margin, broken.place) == (False, -6, "plan.yaml:5"), "the margin is of the worst"
    assert broken.sentence.startswith("2 of 4 samples outside; the first, number 2 at 0.500 s: 5 is above")


def test_a_stream_that_passes_is_as_near_to_its_limit_as_its_extremes() -> None:
    running = judge(Limit(min=0, max=10)).running("level")
    assert running is not None
    assert all(map(running.passes, [3, 9, 4]))
    whole = running.whole(3, [3, 9])
    assert (whole.passed, whole.margin, whole.sentence) == (True, 1, "all 3 samples satisfy: min 0 and max 10")


def test_a_stream_without_a_sample_does_not_pass() -> None:
    running = judge(Limit(max=3)).running("level")
    assert running is not None
    assert running.broken(0) is None
    assert not running.whole(0, [None]).passed


def test_two_judges_know_nothing_of_each_other() -> None:
    limit = Limit(max=3)
    one, other = judge(limit).running("level"), judge(limit).running("level")
    assert one is not None
    assert other is not None
    one.passes(4)
    assert (one.outside, other.outside) == (1, 0)


def rising(*values, unit: str = "") -> str:
    """What is said of a stream that has to rise; '' for one that does."""
    running = judge(Limit(rising=True, min=0)).running("level", unit)
    assert running is not None
    for index, value in enumerate(values):
        if not running.passes(value) and running.first is None:
            running.keep(index, 0.0, value, None)
    whole = running.whole(len(values), [value for value in values if not isinstance(value, str)] or [values[-1]])
    return "" if whole.passed else whole.sentence


def test_each_sample_is_above_the_one_before() -> None:
    assert rising(0, 1, 1.5, 100) == ""
    assert rising(1, 2, 2, 1).startswith(
        "2 of 4 samples outside; the first, number 3 at 0.000 s: 2 is not above the sam"
    )
    assert "5 is not above the sample before it, 7" in rising(7, 5, Word("not known"))
    assert rising(7, Word("not known"), 5).startswith("2 of 3")
    assert "'not known' is not above or below another sample" in rising(1, Word("not known"), 3)
    assert "-1 is below the minimum 0 by 1" in rising(-1, 3)


def test_one_sample_alone_does_not_show_that_anything_rises() -> None:
    assert rising(5) == "one sample arrived: nothing to rise above"


def test_a_single_value_cannot_rise() -> None:
    with pytest.raises(Misfit, match="'level' is one value: rising needs the samples of a stream"):
        judge(Limit(rising=True)).judge("level", 4)
